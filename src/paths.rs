//! Where data, settings and pieces live on this platform.
