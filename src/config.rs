//! The settings file.
