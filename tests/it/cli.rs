//! Tests of cli.
