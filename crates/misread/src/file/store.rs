//! Layout files by path: reading one, reading a folder, keeping one.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use super::catalogue::{Catalogue, Format, text_of};
use super::entry::Entry;
use super::file_error::{FileError, FileProblem, NameTaken};

/// The largest layout file that is read, in bytes. The longest sound layout
/// written out bit by bit stays well below.
const MAX_FILE: usize = 1 << 20;

impl Catalogue {
    /// Reads and checks a layout file.
    ///
    /// # Errors
    ///
    /// A file that cannot be read or has over a mebibyte, and those of
    /// [`Catalogue::load_bytes`].
    pub fn load_file(path: impl AsRef<Path>) -> Result<Entry, FileError> {
        let path = path.as_ref();
        Self::load_bytes(&bytes_of(path)?, path)
    }

    /// Adds every sound layout file of a folder, `.toml` and `.json`, in the
    /// order of the files' names, and returns the others with what is wrong
    /// with them. Hidden files and folders inside are passed over.
    ///
    /// # Errors
    ///
    /// A folder that cannot be read; nothing is added then. Where there is no
    /// such folder, the problem is [`FileProblem::Read`] of
    /// [`io::ErrorKind::NotFound`].
    pub fn add_folder(&mut self, dir: &Path) -> Result<Vec<FileError>, FileError> {
        let mut refused = Vec::new();
        for path in layout_files(dir)? {
            let added = Self::load_file(&path).and_then(|entry| {
                self.add(entry)
                    .map_err(|taken| FileError::new(&path, FileProblem::NameTaken(taken)))
            });
            refused.extend(added.err());
        }
        Ok(refused)
    }

    /// Keeps a layout file in a folder, made if need be, as `<name of the
    /// layout>.toml` or `.json`, byte by byte, and returns the new file's
    /// path. The layout is checked first; the file is written beside its place
    /// and moved there, so the folder never holds half a file.
    ///
    /// With `replace`, a layout of that name that is kept already gives way,
    /// under whichever file name. A layout of another name never does.
    ///
    /// # Errors
    ///
    /// Those of [`Catalogue::load_file`]; the name of a built-in layout; a
    /// layout kept already; a folder that cannot be written. No file was
    /// changed then, except where the one that was to give way cannot be
    /// removed: both stand.
    pub fn save_into(dir: &Path, file: &Path, replace: bool) -> Result<PathBuf, FileError> {
        let bytes = bytes_of(file)?;
        let entry = Self::load_bytes(&bytes, file)?;
        let name = entry.name();
        if let Some(other) = Self::built_in().get(name) {
            let taken = NameTaken { name: name.to_owned(), by: other.source.clone() };
            return Err(FileError::new(file, FileProblem::NameTaken(taken)));
        }
        let format = match text_of(&bytes) {
            Ok(text) => Format::of(text, file),
            Err(problem) => return Err(FileError::new(file, problem)),
        };
        let exists = |name: &str, kept: &Path| {
            let (name, kept) = (name.to_owned(), kept.to_owned());
            FileError::new(file, FileProblem::Exists { name, kept })
        };
        fs::create_dir_all(dir).map_err(|error| FileError::new(dir, FileProblem::Write(error)))?;
        let target = dir.join(format!("{name}.{}", format.extension()));
        let kept = kept_under(dir, name)?;
        if !replace && let Some(first) = kept.first() {
            return Err(exists(name, first));
        }
        if replace
            && let Ok(other) = Self::load_file(&target)
            && !other.name().eq_ignore_ascii_case(name)
        {
            return Err(exists(other.name(), &target));
        }
        match write_beside(dir, &target, &bytes, replace) {
            Ok(()) => {}
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                return Err(exists(name, &target));
            }
            Err(error) => return Err(FileError::new(&target, FileProblem::Write(error))),
        }
        // The same layout under its old file name, or in the other format.
        for old in kept.iter().filter(|old| !is_same_file(old, &target)) {
            fs::remove_file(old).map_err(|error| FileError::new(old, FileProblem::Write(error)))?;
        }
        Ok(target)
    }
}

fn bytes_of(path: &Path) -> Result<Vec<u8>, FileError> {
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(MAX_FILE as u64 + 1).read_to_end(&mut bytes))
        .map_err(|error| FileError::new(path, FileProblem::Read(error)))?;
    if bytes.len() > MAX_FILE {
        return Err(FileError::new(path, FileProblem::TooLarge { most: MAX_FILE }));
    }
    Ok(bytes)
}

/// The layout files of a folder, by name.
fn layout_files(dir: &Path) -> Result<Vec<PathBuf>, FileError> {
    let refuse = |error| FileError::new(dir, FileProblem::Read(error));
    let mut paths = Vec::new();
    for item in fs::read_dir(dir).map_err(refuse)? {
        let path = item.map_err(refuse)?.path();
        let hidden = path.file_name().is_some_and(|name| name.as_encoded_bytes()[0] == b'.');
        if !hidden && Format::of_extension(&path).is_some() && !path.is_dir() {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}

/// The files of a folder that hold a layout of that name.
fn kept_under(dir: &Path, name: &str) -> Result<Vec<PathBuf>, FileError> {
    let mut paths = layout_files(dir)?;
    paths.retain(|path| {
        Catalogue::load_file(path).is_ok_and(|entry| entry.name().eq_ignore_ascii_case(name))
    });
    Ok(paths)
}

/// Whether two paths lead to one file, on systems that ignore capitals too.
fn is_same_file(a: &Path, b: &Path) -> bool {
    match (fs::canonicalize(a), fs::canonicalize(b)) {
        (Ok(a), Ok(b)) => a == b,
        _ => a == b,
    }
}

/// Writes a file beside its place and moves it there, so that nobody ever
/// finds half of it; one that stands there gives way.
///
/// # Errors
///
/// The folder cannot be written to, or the file not be moved; what stood there
/// still does.
pub fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    write_beside(folder_of(path), path, bytes, true)
}

/// The same for a new file: one that stands there stays, and the error is of
/// [`io::ErrorKind::AlreadyExists`].
///
/// # Errors
///
/// A file of that name, and those of [`write_whole`].
pub fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    write_beside(folder_of(path), path, bytes, false)
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(dir) if !dir.as_os_str().is_empty() => dir,
        _ => Path::new("."),
    }
}

fn write_beside(dir: &Path, target: &Path, bytes: &[u8], replace: bool) -> io::Result<()> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".misread-");
    // As any other new file, for whoever the user's own settings let in.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut beside = builder.tempfile_in(dir)?;
    beside.write_all(bytes)?;
    beside.as_file().sync_all()?;
    let moved = if replace { beside.persist(target) } else { beside.persist_noclobber(target) };
    moved.map(|_| ()).map_err(|failed| failed.error)
}
