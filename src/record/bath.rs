//! A temperature bath.

use super::{Correction, Fields, Kind, Number, Record, corrections};

#[derive(Clone, Debug)]
pub struct Bath {
    pub id: String,
    /// The most that the fluid differs from the thermometer, in K.
    pub uniformity_k: Number,
    pub corrections: Vec<Correction>,
}

impl Record for Bath {
    const KIND: Kind = Kind::Bath;

    fn read(fields: &mut dyn Fields) -> Option<Bath> {
        fields.common();
        Some(Bath {
            id: fields.text("id")?,
            uniformity_k: fields.number("uniformity_k")?,
            corrections: corrections(fields),
        })
    }
}
