-- All that a start needs of a rep, in the order in which it is read: a hundred thousand are read from here, and none from the table.
-- What many reps have in common is one text, so that it is told apart and looked up as one.

CREATE INDEX rep_in_short ON rep (
    session_id, started_us, ended_us,
    mode || ' ' || verdict || ' ' || witness || ' ' || quote(span) || ' ' || quote(first_bar) || ' ' || quote(last_bar) || ' '
        || quote(reason_place) || ' ' || quote(reason_kind)
);
