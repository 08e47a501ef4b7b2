//! A file replaced whole: whoever reads it, and whatever ends the program meanwhile, finds the old text or the new one.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// New files beside one that are tried: others stand there only where a program was killed while it wrote.
const N_NAMES_MAX: u32 = 1000;

/// Replaces a file, or makes it: a new one is written beside it and synced, takes its name in one step, and the folder is synced,
/// so that a failing power supply undoes nothing either. Permissions are kept; behind a link the file it leads to is replaced.
///
/// # Errors
/// When it cannot be written; the old file is then as it was.
pub fn replace_file(path: &Path, bytes: &[u8]) -> io::Result<()> {
    replace_file_if(path, bytes, || true).map(drop)
}

/// Replaces a file as [`replace_file`] does, unless `is_still` says no at the last moment; tells whether it did.
///
/// # Errors
/// As [`replace_file`].
pub fn replace_file_if(path: &Path, bytes: &[u8], is_still: impl FnOnce() -> bool) -> io::Result<bool> {
    let path = &fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let (new, mut file) = new_beside(path)?;
    let written = (|| {
        file.write_all(bytes)?;
        if let Ok(old) = fs::metadata(path) {
            file.set_permissions(old.permissions())?;
        }
        file.sync_all()?;
        drop(file);
        if !is_still() {
            return Ok(false);
        }
        fs::rename(&new, path)?;
        sync_folder(path);
        Ok(true)
    })();
    if !matches!(written, Ok(true)) {
        let _ = fs::remove_file(&new);
    }
    written
}

/// Makes a new file that no other program writes: `config.toml.new`, `config.toml.new-2` …
fn new_beside(path: &Path) -> io::Result<(PathBuf, File)> {
    let mut nth = 1;
    loop {
        let mut beside = path.as_os_str().to_owned();
        beside.push(if nth == 1 { ".new".to_owned() } else { format!(".new-{nth}") });
        match OpenOptions::new().write(true).create_new(true).open(&beside) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && nth < N_NAMES_MAX => nth += 1,
            made => return made.map(|file| (beside.into(), file)),
        }
    }
}

/// Makes the new name last. The file is replaced by then: a system that cannot sync folders loses nothing but this certainty.
fn sync_folder(path: &Path) {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if cfg!(unix)
        && let Ok(folder) = File::open(folder)
    {
        let _ = folder.sync_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(dir: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_is_made_and_replaced_with_nothing_left_beside_it() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("a.toml");
        replace_file(&file, b"one").unwrap();
        replace_file(&file, b"two").unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"two");
        assert!(!replace_file_if(&file, b"three", || false).unwrap());
        assert_eq!(fs::read(&file).unwrap(), b"two");
        assert_eq!(names(dir.path()), ["a.toml"]);
        // A folder in its place: refused, and nothing else is touched.
        let folder = dir.path().join("folder");
        fs::create_dir(&folder).unwrap();
        assert!(replace_file(&folder, b"x").is_err());
        assert_eq!(names(dir.path()), ["a.toml", "folder"]);
    }

    #[test]
    fn what_a_killed_program_left_beside_it_is_not_written_into() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("a.toml");
        fs::write(dir.path().join("a.toml.new"), b"half").unwrap();
        replace_file(&file, b"whole").unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"whole");
        assert_eq!(fs::read(dir.path().join("a.toml.new")).unwrap(), b"half");
    }

    #[cfg(unix)]
    #[test]
    fn behind_a_link_the_file_it_leads_to_is_replaced_and_keeps_its_permissions() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let (file, link) = (dir.path().join("kept.toml"), dir.path().join("config.toml"));
        fs::write(&file, b"old").unwrap();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).unwrap();
        std::os::unix::fs::symlink(&file, &link).unwrap();
        replace_file(&link, b"new").unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(fs::read(&file).unwrap(), b"new");
        assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o640);
    }
}
