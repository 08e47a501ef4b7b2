//! Tests of follower.
