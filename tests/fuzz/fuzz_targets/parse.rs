//! Any bytes as each kind of record; the first byte chooses the kind.
#![no_main]

use libfuzzer_sys::fuzz_target;
use shearbook::parse::parse;
use shearbook::record::Record;
use shearbook::record::bath::Bath;
use shearbook::record::book::Book;
use shearbook::record::check::Check;
use shearbook::record::fluid::Fluid;
use shearbook::record::geometry::Geometry;
use shearbook::record::instrument::Instrument;
use shearbook::record::nonconformity::Nonconformity;
use shearbook::record::person::Person;
use shearbook::record::policy::Policy;
use shearbook::record::review::Review;
use shearbook::record::thermometer::Thermometer;

fn read<R: Record>(bytes: &[u8]) {
    match parse::<R>("x.toml", bytes.to_vec()) {
        Ok(parsed) => assert!(
            parsed.record.is_some() || !parsed.faults.is_empty(),
            "no record and nothing said of it"
        ),
        Err(ours) => panic!("{ours}"),
    }
}

fuzz_target!(|data: &[u8]| {
    let Some((first, bytes)) = data.split_first() else {
        return;
    };
    match first % 11 {
        0 => read::<Book>(bytes),
        1 => read::<Policy>(bytes),
        2 => read::<Person>(bytes),
        3 => read::<Instrument>(bytes),
        4 => read::<Geometry>(bytes),
        5 => read::<Fluid>(bytes),
        6 => read::<Thermometer>(bytes),
        7 => read::<Bath>(bytes),
        8 => read::<Check>(bytes),
        9 => read::<Review>(bytes),
        _ => read::<Nonconformity>(bytes),
    }
});
