//! Stores of both sorts, and a way round them for whoever alters records.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

use loomproof::records::sqlite::Access;
use loomproof::records::store::Store;
use loomproof::records::whereabouts::Whereabouts;
use loomproof_tests::postgres::Server;
use postgres::{Client, NoTls};
use rusqlite::Connection;

/// Where a store of a test's own is.
pub struct Place {
    pub address: String,
    _folder: Option<tempfile::TempDir>,
}

impl Place {
    /// An SQLite file that is not there yet.
    pub fn file() -> Self {
        let folder = tempfile::tempdir().unwrap();
        Self {
            address: folder.path().join("r.sqlite").display().to_string(),
            _folder: Some(folder),
        }
    }

    /// A fresh database on the tests' server; `None` where there is no server.
    pub fn database() -> Option<Self> {
        static SERVER: OnceLock<Option<Server>> = OnceLock::new();
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let server = SERVER.get_or_init(Server::start).as_ref()?;
        let name = format!("records{}", NEXT.fetch_add(1, Ordering::Relaxed));
        let mut client = Client::connect(&server.url("postgres"), NoTls).unwrap();
        client
            .batch_execute(&format!("CREATE DATABASE {name}"))
            .unwrap();
        Some(Self {
            address: server.url(&name),
            _folder: None,
        })
    }

    /// One of each, as far as they are to be had.
    pub fn both() -> Vec<Self> {
        [Some(Self::file()), Self::database()]
            .into_iter()
            .flatten()
            .collect()
    }

    pub fn open(&self, access: Access) -> Store {
        let place = Whereabouts::of(Some(&self.address)).unwrap();
        place.open(access).unwrap_or_else(|error| panic!("{error}"))
    }

    /// Changes something behind the store's back.
    pub fn alter(&self, sql: &str) {
        if self.address.starts_with("postgres") {
            let mut client = Client::connect(&self.address, NoTls).unwrap();
            client.batch_execute(sql).unwrap();
        } else {
            Connection::open(&self.address)
                .unwrap()
                .execute_batch(sql)
                .unwrap();
        }
    }

    /// The packed body of a record.
    pub fn body(&self, number: i64) -> Vec<u8> {
        let sql = "SELECT body FROM record WHERE seq = $1";
        if self.address.starts_with("postgres") {
            let mut client = Client::connect(&self.address, NoTls).unwrap();
            client.query_one(sql, &[&number]).unwrap().get(0)
        } else {
            let db = Connection::open(&self.address).unwrap();
            db.query_row(sql, [number], |row| row.get(0)).unwrap()
        }
    }

    /// Replaces it.
    pub fn set_body(&self, number: i64, body: &[u8]) {
        let sql = "UPDATE record SET body = $1 WHERE seq = $2";
        if self.address.starts_with("postgres") {
            let mut client = Client::connect(&self.address, NoTls).unwrap();
            client.execute(sql, &[&body, &number]).unwrap();
        } else {
            let db = Connection::open(&self.address).unwrap();
            db.execute(sql, rusqlite::params![body, number]).unwrap();
        }
    }
}
