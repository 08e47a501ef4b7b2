-- What the player had set of the numbers that reps are judged by, so that one can be judged again as it was; ids and times as in the first
-- migration.

CREATE TABLE session_settings (
    id         TEXT PRIMARY KEY NOT NULL,
    session_id TEXT NOT NULL REFERENCES session (id),
    at_us      INTEGER NOT NULL,
    text       TEXT NOT NULL                    -- lines of a settings file; no row where all numbers were the usual ones
) STRICT;

CREATE INDEX session_settings_session ON session_settings (session_id);
