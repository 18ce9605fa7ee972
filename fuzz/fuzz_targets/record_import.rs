//! Any bytes as an export of records, and as a record that is rightly sealed: kept
//! whole, or refused in words with the store as it was.
#![no_main]

use std::cell::RefCell;

use libfuzzer_sys::fuzz_target;
use loomproof::records::filter::Filter;
use loomproof::records::record::{Digest, Sealed};
use loomproof::records::sqlite::{Access, Sqlite};
use loomproof::records::store::Store;
use loomproof::records::transfer::from_json;

/// A store of this process, in memory where the machine has such a folder.
fn store() -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir());
    let folder = folder.expect("a folder for the store");
    let file = Sqlite::open(&folder.path().join("records.sqlite"), Access::Write);
    let file = file.expect("a new store");
    let store = Store::new(Box::new(file), Access::Write).expect("a new store");
    (folder, store)
}

thread_local! {
    static STORE: RefCell<(tempfile::TempDir, Store)> = RefCell::new(store());
}

fuzz_target!(|bytes: &[u8]| {
    STORE.with_borrow_mut(|(_, store)| {
        let all = Filter::default();
        let before = store.count(&all).expect("a count");
        if from_json(store, &mut &*bytes).is_err() {
            assert_eq!(store.count(&all).expect("a count"), before);
        }
        let digest = Digest::of(bytes);
        if let Ok(sealed) = Sealed::open(bytes.to_vec(), digest) {
            assert_eq!(sealed.bytes(), bytes);
            let packed = sealed.packed().expect("packs");
            let again = Sealed::unpack(&packed, digest).expect("unpacks");
            assert_eq!(again.bytes(), bytes);
            let _ = sealed.record.reported();
            let export = [
                format!("{{\"loomproof_records\":1,\"records\":[{{\"digest\":\"{digest}\",\"record\":").as_bytes(),
                bytes,
                b"}]}",
            ]
            .concat();
            if let Ok(imported) = from_json(store, &mut &*export) {
                assert_eq!(imported.new + imported.already, 1);
                let found = store.get(&digest.to_string()).expect("it is kept");
                assert_eq!(found.sealed.bytes(), bytes);
            }
        }
    });
});
