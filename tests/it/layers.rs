//! Tests of layers.
