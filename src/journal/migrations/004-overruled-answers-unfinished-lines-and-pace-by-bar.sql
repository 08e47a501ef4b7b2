-- Answers that the player overruled, lines of story broken off, and how steady a run-through was; ids and times as in the first migration.

CREATE TABLE answer_overrule (
    id        TEXT PRIMARY KEY NOT NULL,
    answer_id TEXT NOT NULL REFERENCES answer (id),
    at_us     INTEGER NOT NULL,
    outcome   TEXT NOT NULL                     -- held, failed
) STRICT;

CREATE INDEX answer_overrule_answer ON answer_overrule (answer_id);

ALTER TABLE spot ADD COLUMN typed TEXT;         -- what was typed for it and not finished

ALTER TABLE run ADD COLUMN by_reading INTEGER CHECK (by_reading IN (0, 1));   -- whether its bars are set against the player's own reading

CREATE TABLE run_bar (
    rep_id   TEXT NOT NULL REFERENCES run (rep_id),
    nth      INTEGER NOT NULL,                  -- order within the run, from 0; a bar that a lapse was in is not there
    bar      TEXT NOT NULL,                     -- printed label
    permille INTEGER NOT NULL,                  -- of the tempo that the run set out with: above 1000 is faster
    PRIMARY KEY (rep_id, nth)
) STRICT, WITHOUT ROWID;
