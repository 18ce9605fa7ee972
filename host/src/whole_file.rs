//! Files that are written whole or not at all.

use std::io::{Error, ErrorKind, Result, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

/// A new file beside its target, which it replaces when it is whole: a power cut
/// leaves the old one or the new one.
#[derive(Debug)]
pub struct WholeFile {
    target: PathBuf,
    folder: PathBuf,
    file: NamedTempFile,
}

impl WholeFile {
    /// Whether a file may be put there: only an ordinary file is ever replaced, no
    /// device, pipe, folder or link.
    #[must_use]
    pub fn may_replace(target: &Path) -> bool {
        std::fs::symlink_metadata(target).map_or(true, |there| there.is_file())
    }

    /// Makes sure that a file can be written there, which everybody may read then.
    ///
    /// # Errors
    /// What the system says, or that the target is no ordinary file.
    pub fn beside(target: &Path) -> Result<Self> {
        if !Self::may_replace(target) {
            return Err(Error::other(
                "only an ordinary file is replaced, and this is none; give another name",
            ));
        }
        let folder = match target.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let mut builder = tempfile::Builder::new();
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644));
        // The name of the scratch file says nothing to anybody.
        let file = builder
            .tempfile_in(folder)
            .map_err(|error| match error.kind() {
                ErrorKind::NotFound => Error::other("there is no such folder"),
                kind => kind.into(),
            })?;
        Ok(Self {
            target: target.to_owned(),
            folder: folder.to_owned(),
            file,
        })
    }

    /// Where the file will be.
    #[must_use]
    pub fn target(&self) -> &Path {
        &self.target
    }

    /// Flushes it to the disk and puts it in place.
    ///
    /// # Errors
    /// What the system says; the target is then as it was.
    pub fn put(self) -> Result<()> {
        self.file.as_file().sync_all()?;
        self.file
            .persist(&self.target)
            .map_err(|error| error.error)?;
        // The new name survives a power cut only once its folder is on disk.
        #[cfg(unix)]
        std::fs::File::open(&self.folder)?.sync_all()?;
        Ok(())
    }
}

impl Write for WholeFile {
    fn write(&mut self, bytes: &[u8]) -> Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> Result<()> {
        self.file.flush()
    }
}
