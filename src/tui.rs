//! The full-screen terminal program.
