//! The schema of the live check's report is made from the types that are printed.

use loomproof::live::Report;
use loomproof_tests::schemas::is_made_of;

#[test]
fn the_schema_is_that_of_the_types() {
    is_made_of::<Report>("schemas/live.schema.json");
}
