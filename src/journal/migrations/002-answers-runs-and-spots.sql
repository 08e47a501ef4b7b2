-- What the quiz, the run-through and the stories for slips leave behind; ids and times as in the first migration.

ALTER TABLE rep ADD COLUMN witness TEXT NOT NULL DEFAULT 'heard';   -- heard, told; mode may also be reading

CREATE TABLE run (
    rep_id        TEXT PRIMARY KEY NOT NULL REFERENCES rep (id),
    n_bars        INTEGER NOT NULL,
    n_bars_played INTEGER NOT NULL,
    is_held       INTEGER NOT NULL CHECK (is_held IN (0, 1))
) STRICT;

CREATE TABLE lapse (
    rep_id   TEXT NOT NULL REFERENCES run (rep_id),
    nth      INTEGER NOT NULL,                  -- order within the run, from 0
    at_us    INTEGER NOT NULL,
    place    TEXT NOT NULL,                     -- bar.beat
    kind     TEXT NOT NULL,
    recovery TEXT NOT NULL,                     -- went-on, landmark, restarted, not-recovered
    going_at TEXT,                              -- bar.beat where the player was going again
    lost_us  INTEGER NOT NULL,
    PRIMARY KEY (rep_id, nth)
) STRICT, WITHOUT ROWID;

CREATE TABLE answer (
    id              TEXT PRIMARY KEY NOT NULL,
    session_id      TEXT NOT NULL REFERENCES session (id),
    number          INTEGER NOT NULL CHECK (number >= 0),
    kind            TEXT NOT NULL,              -- cold-start, go-on, what-next, switch, jump
    place           TEXT NOT NULL,              -- bar.beat where the answer begins
    asked_us        INTEGER NOT NULL,
    first_right_us  INTEGER,
    ended_us        INTEGER NOT NULL,
    outcome         TEXT NOT NULL,              -- held, failed, out-of-time
    witness         TEXT NOT NULL,              -- heard, told
    n_notes_between INTEGER,
    UNIQUE (session_id, number)
) STRICT;

CREATE TABLE answer_happening (
    answer_id TEXT NOT NULL REFERENCES answer (id),
    nth       INTEGER NOT NULL,
    at_us     INTEGER NOT NULL,
    kind      TEXT NOT NULL,
    place     TEXT NOT NULL,
    hand      TEXT,
    PRIMARY KEY (answer_id, nth)
) STRICT, WITHOUT ROWID;

CREATE TABLE answer_take (
    id        TEXT PRIMARY KEY NOT NULL,
    answer_id TEXT NOT NULL UNIQUE REFERENCES answer (id),
    first_us  INTEGER NOT NULL,
    smf       BLOB NOT NULL
) STRICT;

CREATE TABLE spot (
    id         TEXT PRIMARY KEY NOT NULL,
    session_id TEXT NOT NULL REFERENCES session (id),
    at_us      INTEGER NOT NULL,
    place      TEXT NOT NULL,                   -- bar.beat
    hand       TEXT,                            -- left, right
    text       TEXT                             -- the line of story; none while it is put off
) STRICT;
