//! Tests of source.
