-- Ids are UUIDs of version 7 as text, so that journals of two machines can be merged by taking all rows of both.
-- Times of day are whole microseconds since 1970-01-01 UTC; the offset is the player's own at the start of the session.
-- Times within a session are whole microseconds since the session began.

CREATE TABLE session (
    id              TEXT PRIMARY KEY NOT NULL,
    started_utc_us  INTEGER NOT NULL,
    offset_s        INTEGER NOT NULL CHECK (offset_s BETWEEN -86399 AND 86399),
    ended_utc_us    INTEGER,                    -- none: still open, or cut short
    piece_key       TEXT NOT NULL,              -- what the piece is filed under
    piece_title     TEXT NOT NULL,
    program_version TEXT NOT NULL,
    seed            INTEGER NOT NULL            -- the 64 bits of the session's seed, read as signed
) STRICT;

CREATE INDEX session_by_piece ON session (piece_key, started_utc_us);

CREATE TABLE rep (
    id            TEXT PRIMARY KEY NOT NULL,
    session_id    TEXT NOT NULL REFERENCES session (id),
    number        INTEGER NOT NULL CHECK (number >= 0),
    mode          TEXT NOT NULL,                -- drill, run-through
    span          TEXT NOT NULL,
    first_bar     TEXT NOT NULL,                -- printed labels
    last_bar      TEXT NOT NULL,
    started_us    INTEGER NOT NULL,
    ended_us      INTEGER NOT NULL,
    verdict       TEXT NOT NULL,                -- clean, prompted, broken: as judged, before any overruling
    reason_place  TEXT,
    reason_kind   TEXT,
    reason_words  TEXT,
    n_notes_due   INTEGER NOT NULL,
    n_notes_right INTEGER NOT NULL,
    tempo         REAL,                         -- quarter notes a minute
    UNIQUE (session_id, number),
    CHECK ((reason_place IS NULL) = (reason_kind IS NULL) AND (reason_kind IS NULL) = (reason_words IS NULL))
) STRICT;

CREATE TABLE happening (
    rep_id TEXT NOT NULL REFERENCES rep (id),
    nth    INTEGER NOT NULL,                    -- order within the rep, from 0
    at_us  INTEGER NOT NULL,
    kind   TEXT NOT NULL,
    place  TEXT NOT NULL,                       -- bar.beat
    hand   TEXT,                                -- left, right
    PRIMARY KEY (rep_id, nth)
) STRICT, WITHOUT ROWID;

CREATE TABLE take (
    id       TEXT PRIMARY KEY NOT NULL,
    rep_id   TEXT NOT NULL UNIQUE REFERENCES rep (id),
    first_us INTEGER NOT NULL,                  -- session time of the first event; the file begins there
    smf      BLOB NOT NULL                      -- a Standard MIDI File
) STRICT;

CREATE TABLE overrule (
    id      TEXT PRIMARY KEY NOT NULL,
    rep_id  TEXT NOT NULL REFERENCES rep (id),
    at_us   INTEGER NOT NULL,
    verdict TEXT NOT NULL                       -- the player's; the latest one holds
) STRICT;

CREATE INDEX overrule_by_rep ON overrule (rep_id, at_us);

-- Marks the file as a journal of this program ("CWjl").
PRAGMA application_id = 0x43576a6c;
