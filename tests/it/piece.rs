//! Tests of piece.
