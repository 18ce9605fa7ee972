//! What a file must stand: a killed writer, a full disk, a medium that cannot
//! be written to, something else in its place.

use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader};
use std::process::{Command, Stdio};
use std::time::Duration;

use loomproof::records::database::StoreError;
use loomproof::records::filter::Filter;
use loomproof::records::sqlite::{Access, Sqlite};
use loomproof_tests::records::Maker;
use loomproof_tests::skip::{require, skipped};
use rand::RngExt as _;
use rand::SeedableRng as _;
use rusqlite::Connection;

use crate::both::writer_command;
use crate::stores::Place;

/// How often the writer is killed.
const KILLS: u32 = 200;

#[test]
fn a_writer_killed_in_the_middle_loses_nothing_that_it_said() {
    let place = Place::file();
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(7);
    let mut said = BTreeSet::new();
    let mut killed = 0;
    for round in 0..KILLS {
        let mut child = writer_command(&place.address, round * 10_000, 10_000)
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let until = random.random_range(1..6);
        let later = Duration::from_micros(random.random_range(0..4000));
        let mut seen = 0;
        for line in lines {
            let Ok(line) = line else { break };
            if let Some(digest) = line.strip_prefix("kept ") {
                said.insert(digest.to_owned());
                seen += 1;
                if seen == until {
                    std::thread::sleep(later);
                    child.kill().unwrap();
                    killed += 1;
                }
            }
        }
        assert!(!child.wait().unwrap().success());
    }
    let mut store = place.open(Access::Write);
    let lines = store.list(&Filter::default(), i64::MAX).unwrap();
    let found: BTreeSet<String> = lines.into_iter().map(|line| line.digest).collect();
    let lost: Vec<&String> = said.difference(&found).collect();
    assert_eq!(lost, Vec::<&String>::new());
    // At most the one in progress came on top.
    let unsaid = found.difference(&said).count();
    println!(
        "{killed} kills, {} said, {unsaid} kept but not said any more",
        said.len()
    );
    assert_eq!(killed, KILLS);
    assert!(unsaid <= killed as usize);
    let checked = store.check().unwrap();
    assert_eq!(checked.wrong, []);
    let sound: String = Connection::open(&place.address)
        .unwrap()
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(sound, "ok");
}

/// A kill leaves what the system has not yet written; a power cut does not.
/// What stands against that is that every commit waits for the disk.
#[test]
fn every_commit_waits_for_the_disk() {
    let Some(strace) = require("strace") else {
        return;
    };
    let place = Place::file();
    place.open(Access::Write);
    let writer = writer_command(&place.address, 0, 20);
    let log = tempfile::NamedTempFile::new().unwrap();
    let mut traced = Command::new(strace);
    traced
        .args(["-f", "-e", "trace=fdatasync,fsync,write", "-o"])
        .arg(log.path())
        .arg(writer.get_program())
        .args(writer.get_args())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    for (name, value) in writer.get_envs() {
        traced.env(name, value.unwrap());
    }
    assert!(traced.status().unwrap().success());
    let text = std::fs::read_to_string(log.path()).unwrap();
    let mut since = 0;
    let mut said = 0;
    for line in text.lines() {
        if line.contains("sync(") {
            since += 1;
        } else if line.contains("\"kept ") {
            assert!(since > 0, "said before it was on the disk: {line}");
            since = 0;
            said += 1;
        }
    }
    assert_eq!(said, 20);
}

/// Runs the helper below on a small disk of its own, in namespaces of its own.
fn on_a_small_disk(script: &str) -> Option<String> {
    let unshare = require("unshare")?;
    let own = |script: &str| {
        let mut command = Command::new(&unshare);
        command
            .args(["-rm", "sh", "-c", script, "sh"])
            .arg(std::env::current_exe().unwrap())
            .env("RECORDS_DISK", "1");
        command
    };
    if !own("true").status().unwrap().success() {
        skipped("unshare may not make namespaces here: allow unprivileged user namespaces");
        return None;
    }
    let output = own(script).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    Some(String::from_utf8(output.stderr).unwrap())
}

const HELPER: &str = "--exact file::on_the_small_disk --ignored --nocapture --test-threads=1";

/// Fills the store at /mnt until that fails and says how. Not a test of its own.
#[test]
#[ignore = "started by the other tests"]
fn on_the_small_disk() {
    use std::io::Write as _;
    if std::env::var_os("RECORDS_DISK").is_none() {
        return;
    }
    let maker = Maker::new();
    let path = std::path::Path::new("/mnt/folder/r.sqlite");
    let mut err = std::io::stderr();
    let mut open = |access| {
        let opened = Sqlite::open(path, access)
            .and_then(|db| loomproof::records::store::Store::new(Box::new(db), access));
        if let Err(error) = &opened {
            let _ = writeln!(err, "open {access:?}: {error}");
        }
        opened.ok()
    };
    if let Some(mut store) = open(Access::Write) {
        let mut kept = 0;
        let error = loop {
            match store.keep(&maker.record(kept)) {
                Ok(_) => kept += 1,
                Err(error) => break error,
            }
        };
        let _ = writeln!(std::io::stderr(), "kept {kept}, then: {error}");
    }
    let mut err = std::io::stderr();
    match Sqlite::open(path, Access::Read)
        .and_then(|db| loomproof::records::store::Store::new(Box::new(db), Access::Read))
        .and_then(|mut store| store.check())
    {
        Ok(checked) => {
            let _ = writeln!(
                err,
                "read {} wrong {}",
                checked.records,
                checked.wrong.len()
            );
        }
        Err(error) => {
            let _ = writeln!(err, "read: {error}");
        }
    }
}

#[test]
fn a_full_disk_is_told_and_what_was_kept_stays() {
    let script = format!("mount -t tmpfs -o size=600k none /mnt && \"$1\" {HELPER}");
    let Some(said) = on_a_small_disk(&script) else {
        return;
    };
    let kept: i64 = said
        .split_once("kept ")
        .and_then(|(_, rest)| rest.split_once(", then: "))
        .unwrap_or_else(|| panic!("{said}"))
        .0
        .parse()
        .unwrap();
    assert!(kept > 0, "{said}");
    assert!(
        said.contains("the disk is full, nothing was written"),
        "{said}"
    );
    assert!(said.contains(&format!("read {kept} wrong 0")), "{said}");
}

#[test]
fn a_medium_that_cannot_be_written_to_can_be_read() {
    let place = Place::file();
    let maker = Maker::new();
    let all: Vec<_> = (0..9).map(|number| maker.record(number)).collect();
    place.open(Access::Write).keep_all(&all).unwrap();
    let script = format!(
        "mount -t tmpfs none /mnt && mkdir /mnt/folder && cp '{}' /mnt/folder/r.sqlite && \
         mount -o remount,ro /mnt && \"$1\" {HELPER}",
        place.address
    );
    let Some(said) = on_a_small_disk(&script) else {
        return;
    };
    assert!(said.contains("can be read but not written"), "{said}");
    assert!(said.contains("read 9 wrong 0"), "{said}");
    // Nothing there, and nowhere to put it.
    let script = format!("mount -t tmpfs -o ro none /mnt && \"$1\" {HELPER}");
    let said = on_a_small_disk(&script).unwrap();
    assert!(said.contains("its folder cannot be made"), "{said}");
    assert!(said.contains("there are no records yet"), "{said}");
}

#[test]
fn something_else_in_its_place_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("notes.txt");
    let text = "not a database, but longer than the sixteen bytes of its head\n".repeat(40);
    std::fs::write(&file, &text).unwrap();
    for access in [Access::Read, Access::Write] {
        let error = Sqlite::open(&file, access).unwrap_err();
        assert!(matches!(error, StoreError::Foreign(_)), "{error}");
    }
    assert_eq!(std::fs::read_to_string(&file).unwrap(), text);
    let other = folder.path().join("other.sqlite");
    Connection::open(&other)
        .unwrap()
        .execute_batch("CREATE TABLE a (b)")
        .unwrap();
    let error = Sqlite::open(&other, Access::Write).unwrap_err();
    assert!(matches!(error, StoreError::Foreign(_)), "{error}");
    let place = Place::file();
    place.open(Access::Write);
    place.alter("PRAGMA user_version = 2");
    let error = Sqlite::open(std::path::Path::new(&place.address), Access::Write).unwrap_err();
    assert!(matches!(error, StoreError::Later(_)), "{error}");
    let error = Sqlite::open(folder.path(), Access::Read).unwrap_err();
    assert!(error.to_string().contains("this is a folder"), "{error}");
    let error = Sqlite::open(&folder.path().join("no"), Access::Read).unwrap_err();
    assert!(matches!(error, StoreError::Nothing(_)), "{error}");
}
