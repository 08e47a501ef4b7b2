//! Tests of import_smf.
