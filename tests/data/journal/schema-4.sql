-- A journal of schema 4: that of schema 2, brought up to date, with a lever heard to stand wrong that nobody noted by its name.
-- Kept as it is: later programs must open it.
PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
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
INSERT INTO answer VALUES('01a211be-0bee-7755-9afd-d0a2b0000001','01a211be-0bed-76a7-bbb5-b2bf2560ada7',0,'cold-start','1.1',30000000,31000000,36000000,'held','heard',NULL);
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
CREATE TABLE happening (
    rep_id TEXT NOT NULL REFERENCES rep (id),
    nth    INTEGER NOT NULL,                    -- order within the rep, from 0
    at_us  INTEGER NOT NULL,
    kind   TEXT NOT NULL,
    place  TEXT NOT NULL,                       -- bar.beat
    hand   TEXT,                                -- left, right
    PRIMARY KEY (rep_id, nth)
) STRICT, WITHOUT ROWID;
INSERT INTO happening VALUES('01a211be-0bed-76a7-bbb5-b2c0d6441dba',0,7000000,'hesitation','2.3',NULL);
INSERT INTO happening VALUES('01a211be-0bed-76a7-bbb5-b2c0d6441dba',1,8000000,'wrong','3.2','left');
INSERT INTO happening VALUES('01a211be-0bee-7755-9afd-d0a115749e88',0,22000000,'setting','4.1','left');
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
INSERT INTO lapse VALUES('01a211be-0bee-7755-9afd-d0a115749e88',0,21000000,'2.1','hesitation','went-on','2.2',1500000);
CREATE TABLE overrule (
    id      TEXT PRIMARY KEY NOT NULL,
    rep_id  TEXT NOT NULL REFERENCES rep (id),
    at_us   INTEGER NOT NULL,
    verdict TEXT NOT NULL                       -- the player's; the latest one holds
) STRICT;
INSERT INTO overrule VALUES('01a211be-0bee-7755-9afd-d0a035a6d424','01a211be-0bed-76a7-bbb5-b2c0d6441dba',14000000,'clean');
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
    tempo         REAL, witness TEXT NOT NULL DEFAULT 'heard',                         -- quarter notes a minute
    UNIQUE (session_id, number),
    CHECK ((reason_place IS NULL) = (reason_kind IS NULL) AND (reason_kind IS NULL) = (reason_words IS NULL))
) STRICT;
INSERT INTO rep VALUES('01a211be-0bed-76a7-bbb5-b2c0d6441dba','01a211be-0bed-76a7-bbb5-b2bf2560ada7',0,'drill','casting off','1','4',5000001,13000000,'broken','3.2','wrong','bar 3, beat 2, left hand',30,29,93.500000000000000003,'heard');
INSERT INTO rep VALUES('01a211be-0bee-7755-9afd-d0a115749e88','01a211be-0bed-76a7-bbb5-b2bf2560ada7',1,'run-through','casting off','1','4',20000000,28000000,'clean',NULL,NULL,NULL,30,29,NULL,'heard');
CREATE TABLE run (
    rep_id        TEXT PRIMARY KEY NOT NULL REFERENCES rep (id),
    n_bars        INTEGER NOT NULL,
    n_bars_played INTEGER NOT NULL,
    is_held       INTEGER NOT NULL CHECK (is_held IN (0, 1))
, by_reading INTEGER CHECK (by_reading IN (0, 1))) STRICT;
INSERT INTO run VALUES('01a211be-0bee-7755-9afd-d0a115749e88',24,24,1,NULL);
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
INSERT INTO session VALUES('01a211be-0bed-76a7-bbb5-b2bf2560ada7',1772392500123456,3600,1772394000000000,'ferry','The Ferry at Low Water','0.1.0',-2);
CREATE TABLE spot (
    id         TEXT PRIMARY KEY NOT NULL,
    session_id TEXT NOT NULL REFERENCES session (id),
    at_us      INTEGER NOT NULL,
    place      TEXT NOT NULL,                   -- bar.beat
    hand       TEXT,                            -- left, right
    text       TEXT                             -- the line of story; none while it is put off
, typed TEXT) STRICT;
INSERT INTO spot VALUES('01a211be-0bee-7755-9afd-d0a2b0000002','01a211be-0bed-76a7-bbb5-b2bf2560ada7',37000000,'3.2','left',NULL,NULL);
CREATE TABLE take (
    id       TEXT PRIMARY KEY NOT NULL,
    rep_id   TEXT NOT NULL UNIQUE REFERENCES rep (id),
    first_us INTEGER NOT NULL,                  -- session time of the first event; the file begins there
    smf      BLOB NOT NULL                      -- a Standard MIDI File
) STRICT;
INSERT INTO take VALUES('01a211be-0bed-76a7-bbb5-b2c18f7c6d2b','01a211be-0bed-76a7-bbb5-b2c0d6441dba',5000001,X'4d546864000000060000000127104d54726b0000003d00ff51030f424000ff7f207d6361746368776f72642074616b65206d6963726f7365636f6e64730000636200903e469f1fb0437fae70803e4000ff2f00');
CREATE TABLE answer_overrule (
    id        TEXT PRIMARY KEY NOT NULL,
    answer_id TEXT NOT NULL REFERENCES answer (id),
    at_us     INTEGER NOT NULL,
    outcome   TEXT NOT NULL                     -- held, failed
) STRICT;
CREATE TABLE run_bar (
    rep_id   TEXT NOT NULL REFERENCES run (rep_id),
    nth      INTEGER NOT NULL,                  -- order within the run, from 0; a bar that a lapse was in is not there
    bar      TEXT NOT NULL,                     -- printed label
    permille INTEGER NOT NULL,                  -- of the tempo that the run set out with: above 1000 is faster
    PRIMARY KEY (rep_id, nth)
) STRICT, WITHOUT ROWID;
CREATE INDEX session_by_piece ON session (piece_key, started_utc_us);
CREATE INDEX overrule_by_rep ON overrule (rep_id, at_us);
CREATE INDEX rep_in_short ON rep (
    session_id, started_us, ended_us,
    mode || ' ' || verdict || ' ' || witness || ' ' || quote(span) || ' ' || quote(first_bar) || ' ' || quote(last_bar) || ' '
        || quote(reason_place) || ' ' || quote(reason_kind)
);
CREATE INDEX answer_overrule_answer ON answer_overrule (answer_id);
COMMIT;
PRAGMA application_id = 1129802348;
PRAGMA user_version = 4;
