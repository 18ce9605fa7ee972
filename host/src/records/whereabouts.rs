//! Where the records are: a file of the user's own, a file that is named, or a
//! PostgreSQL database by its address.

use std::path::PathBuf;

use etcetera::{BaseStrategy as _, choose_base_strategy};

use super::database::StoreError;
use super::postgres::Postgres;
use super::sqlite::{Access, Sqlite};
use super::store::Store;

/// Where records are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Whereabouts {
    /// An SQLite file.
    File(PathBuf),
    /// A PostgreSQL address.
    Server(String),
    /// Nowhere: `--store none`.
    Nowhere,
}

impl Whereabouts {
    /// What `--store` says; where it is not given, the user's own file.
    ///
    /// # Errors
    /// [`StoreError::Open`] where the system tells no home folder.
    pub fn of(given: Option<&str>) -> Result<Self, StoreError> {
        match given {
            Some("none") => Ok(Self::Nowhere),
            Some(url) if url.starts_with("postgres://") || url.starts_with("postgresql://") => {
                Ok(Self::Server(url.to_owned()))
            }
            Some(file) => Ok(Self::File(PathBuf::from(file))),
            None => Ok(Self::File(own_file()?)),
        }
    }

    /// Opens the store.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn open(&self, access: Access) -> Result<Store, StoreError> {
        match self {
            Self::File(path) => Store::new(Box::new(Sqlite::open(path, access)?), access),
            Self::Server(url) => Store::new(Box::new(Postgres::connect(url)?), access),
            Self::Nowhere => Err(StoreError::Open {
                place: "none".to_owned(),
                reason: "no place is given; leave --store none away".to_owned(),
            }),
        }
    }
}

impl std::fmt::Display for Whereabouts {
    /// The place, without password.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::File(path) => path.display().fmt(f),
            Self::Server(url) => f.write_str(&super::postgres::without_password(url)),
            Self::Nowhere => f.write_str("none"),
        }
    }
}

/// `records.sqlite` in the user's data folder.
fn own_file() -> Result<PathBuf, StoreError> {
    let strategy = choose_base_strategy().map_err(|_| StoreError::Open {
        place: "the user's own records".to_owned(),
        reason: "the system tells no home folder; give a place with --store".to_owned(),
    })?;
    Ok(strategy.data_dir().join("loomproof").join("records.sqlite"))
}
