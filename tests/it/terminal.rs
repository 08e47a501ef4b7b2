//! Tests of terminal.
