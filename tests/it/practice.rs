//! Tests of practice.
