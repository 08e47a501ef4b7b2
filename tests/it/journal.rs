//! Tests of journal.
