//! Tests of import_musicxml.
