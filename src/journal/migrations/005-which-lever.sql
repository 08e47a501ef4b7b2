-- Which lever, pedal or string stood wrong, and how the page has it: `lever F4 sharp`, `pedal F natural`, `tuning D1 flat`.
-- None for all other kinds, and where an older program wrote the row.

ALTER TABLE happening ADD COLUMN setting TEXT;
ALTER TABLE answer_happening ADD COLUMN setting TEXT;
