//! Seeded faults: what a laboratory would record where something is wrong, and what is made of it.
//!
//! The faults are those of the trade's table of bad patterns (common practice). The simulation has its own physics: a true
//! viscosity, a torque, a display that rounds; it calls nothing of the code under test but to ask it in the end.

use super::*;

/// A generator of Lehmer's kind with 64 bits; the constants are Knuth's.
struct Dice(u64);

impl Dice {
    fn new(fault: &str, seed: u64) -> Dice {
        let mut state = 0xcbf2_9ce4_8422_2325_u64 ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        for byte in fault.bytes() {
            state = (state ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
        let mut dice = Dice(state);
        for _ in 0..8 {
            dice.uniform();
        }
        dice
    }

    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    fn one_of<T: Copy>(&mut self, these: &[T]) -> T {
        these[(self.uniform() * these.len() as f64) as usize]
    }

    fn normal(&mut self, sd: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        sd * radius * (std::f64::consts::TAU * self.uniform()).cos()
    }

    fn sign(&mut self) -> f64 {
        self.one_of(&[-1.0, 1.0])
    }
}

/// What is truly so at the bench, and not seen by who records.
struct Bench {
    dice: Dice,
    silicone: bool,
    certified: f64,
    beta: f64,
    speeds: [f64; 3],
    /// Range times speed.
    constant: f64,
    replicates: usize,
    evidence: Evidence,
}

/// What happens to one reading: which speed (by place), which replicate, which place in the order from 0 to 1.
struct Moment {
    speed: usize,
    replicate: usize,
    time: f64,
}

impl Bench {
    /// A sound bench with a full record, the three torques in the three zones.
    fn new(fault: &str, seed: u64) -> Bench {
        let mut dice = Dice::new(fault, seed);
        let silicone = dice.sign() > 0.0;
        let certified = dice.one_of(&[97.3, 512.6, 1003.0, 4983.0, 12_480.0, 29_700.0]);
        let beta = if silicone {
            dice.between(-0.022, -0.02)
        } else {
            dice.between(-0.07, -0.03)
        };
        let fastest = dice.one_of(&[12.0, 30.0, 60.0]);
        let speeds = [fastest / dice.one_of(&[4.0, 5.0]), fastest / 2.0, fastest];
        let highest = dice.between(75.0, 92.0);
        let constant = certified * fastest * 100.0 / highest;
        let replicates = dice.one_of(&[1, 2, 3]);
        let nominal = certified * (1.0 + dice.sign() * dice.between(0.015, 0.06));
        let evidence = Evidence {
            scatter_percent: Some(0.1_f64.hypot(0.1 / 12_f64.sqrt())),
            shared_percent: Some(0.2),
            beta_per_k: Some(beta),
            certified_mpa_s: Some(certified),
            nominal_mpa_s: Some(nominal),
            density: Some(Density {
                g_ml: if silicone { 0.97 } else { 0.88 },
                from: DensityFrom::Typical,
                in_reference: false,
            }),
            days_in_use: Some(60.0),
            days_in_use_allowed: Some(365.0),
            geometry: Some(GeometryKind::Factored),
            guard_required: Some(true),
            guard_fitted: Some(true),
            other_geometries: [("C-2", 0.4), ("C-3", 2.5), ("C-4", 0.125)]
                .map(|(name, range_ratio)| OtherGeometry {
                    name: name.to_owned(),
                    range_ratio,
                })
                .to_vec(),
            speeds_rpm: vec![1.5, 2.4, 3.0, 6.0, 7.5, 12.0, 15.0, 30.0, 60.0],
            torque_disagrees: Some(false),
            zero_percent: Some(0.0),
            zero_limit_percent: Some(0.1),
            soak_minutes: Some(130.0),
            soak_asked_minutes: Some(120.0),
            ..Evidence::default()
        };
        Bench {
            dice,
            silicone,
            certified,
            beta,
            speeds,
            constant,
            replicates,
            evidence,
        }
    }

    /// Reads all speeds, slow ones first. `torque` turns the true torque in % into what the instrument feels.
    fn read(&mut self, mut torque: impl FnMut(&mut Dice, f64, &Moment) -> f64) {
        let count = self.speeds.len() * self.replicates;
        // What the certificate and the bath leave open.
        let share = 1.0 + self.dice.normal(0.002);
        for speed in 0..self.speeds.len() {
            let rpm = self.speeds[speed];
            let range = self.constant / rpm;
            for replicate in 0..self.replicates {
                let moment = Moment {
                    speed,
                    replicate,
                    time: self.evidence.readings.len() as f64 / (count - 1) as f64,
                };
                let truth = 100.0 * self.certified * share / range;
                let felt = torque(&mut self.dice, truth, &moment) + self.dice.normal(0.1);
                let shown = (felt * 10.0).round() / 10.0;
                self.evidence.readings.push(Reading {
                    speed_rpm: rpm,
                    reading_mpa_s: shown * range / 100.0,
                    reference_mpa_s: self.certified,
                    range_mpa_s: range,
                    temperature_c: Some(25.0 + (self.dice.normal(0.01) * 100.0).round() / 100.0),
                });
            }
        }
    }

    /// What checks elsewhere deviate by, where the truth is `gain` in % and no offset.
    fn elsewhere(&mut self, gain: f64, offset: f64) -> Option<Elsewhere> {
        let checks = self.dice.one_of(&[1, 2, 4]);
        let root = (checks as f64).sqrt();
        Some(Elsewhere {
            checks,
            gain_percent: gain + self.dice.normal(0.3 / root),
            gain_uncertainty_percent: 0.3 / root,
            offset_percent: Some((offset + self.dice.normal(0.15 / root), 0.3 / root)),
        })
    }

    fn last_good(&mut self) -> Option<LastGood> {
        let means = self.speeds.map(|rpm| {
            let range_mpa_s = self.constant / rpm;
            Mean {
                reading_mpa_s: self.certified + range_mpa_s * self.dice.normal(0.0015),
                reference_mpa_s: self.certified,
                range_mpa_s,
            }
        });
        Some(LastGood {
            means: means.to_vec(),
            same_lot: true,
        })
    }

    /// All others are sound: the lot, the thermometer, the bath; so is this instrument with other lots.
    fn others_are_sound(&mut self) {
        self.evidence.witness = Witness {
            lot_that_day: self.elsewhere(0.0, 0.0),
            lot_other_days: self.elsewhere(0.0, 0.0),
            lots_here: self.elsewhere(0.0, 0.0),
            last_good: self.last_good(),
            ..Witness::default()
        };
    }
}

const SEEDS: u64 = 50;

/// Each seed's answer must name the cause first or second.
fn assert_named(kind: Kind, label: &str, mut fault: impl FnMut(&mut Bench)) {
    let mut missed = Vec::new();
    for seed in 0..SEEDS {
        let mut bench = Bench::new(label, seed);
        fault(&mut bench);
        let ranked = causes(&bench.evidence);
        let place = ranked.causes.iter().position(|one| one.kind == kind);
        if place.is_none_or(|place| place > 1) {
            missed.push((seed, told(&bench, &ranked)));
        }
    }
    let told: Vec<String> = missed
        .iter()
        .take(4)
        .map(|(seed, told)| format!("{seed}: {told}"))
        .collect();
    assert!(
        missed.is_empty(),
        "{label}: missed {} of {SEEDS}\n{}",
        missed.len(),
        told.join("\n")
    );
}

/// Each seed's answer must have these in one group, with the likeliest, and say what would tell.
fn assert_alike(kinds: &[Kind], label: &str, mut fault: impl FnMut(&mut Bench)) {
    let mut missed = Vec::new();
    for seed in 0..SEEDS {
        let mut bench = Bench::new(label, seed);
        fault(&mut bench);
        let ranked = causes(&bench.evidence);
        let first = ranked.causes.first().map(|one| one.kind);
        let group = ranked
            .cannot_tell
            .iter()
            .find(|group| first.is_some_and(|first| group.causes.contains(&first)));
        let alike = group.is_some_and(|group| {
            kinds.iter().all(|kind| group.causes.contains(kind)) && !group.would_tell.is_empty()
        });
        if !alike {
            missed.push(format!("{seed}: {}", told(&bench, &ranked)));
        }
    }
    assert!(
        missed.is_empty(),
        "{label}: missed {} of {SEEDS}\n{}",
        missed.len(),
        missed
            .iter()
            .take(4)
            .cloned()
            .collect::<Vec<_>>()
            .join("\n")
    );
}

fn told(bench: &Bench, ranked: &Ranked) -> String {
    let deviations: Vec<String> = bench
        .evidence
        .readings
        .iter()
        .map(|one| format!("{:.0}:{:+.2}", one.torque(), one.deviation()))
        .collect();
    let causes: Vec<String> = ranked
        .causes
        .iter()
        .map(|one| format!("{} {:.3} ({})", one.kind.word(), one.share, one.message()))
        .collect();
    let groups: Vec<Vec<&str>> = ranked
        .cannot_tell
        .iter()
        .map(|group| group.causes.iter().map(|kind| kind.word()).collect())
        .collect();
    format!(
        "{}\n   {:?}\n   {}\n   {groups:?}",
        deviations.join(" "),
        ranked.pattern,
        causes.join("\n   ")
    )
}

fn warm_or_cold(bench: &mut Bench) -> f64 {
    let kelvin = bench.dice.sign() * bench.dice.between(0.6, 1.3);
    let factor = (bench.beta * kelvin).exp();
    bench.read(|_, truth, _| truth * factor);
    100.0 * (factor - 1.0)
}

fn weak_or_strong(bench: &mut Bench) -> f64 {
    let gain = bench.dice.sign() * bench.dice.between(1.2, 4.0);
    bench.read(|_, truth, _| truth * (1.0 + gain / 100.0));
    gain
}

#[test]
fn a_fluid_warmer_or_colder() {
    assert_named(Kind::FluidTemperature, "temperature, others", |bench| {
        let gain = warm_or_cold(bench);
        bench.others_are_sound();
        bench.evidence.witness.lot_that_day = bench.elsewhere(gain, 0.0);
    });
}

#[test]
fn one_check_alone_cannot_tell_temperature_fluid_and_spring() {
    let three = [Kind::FluidTemperature, Kind::FluidOld, Kind::Spring];
    assert_alike(&three, "temperature alone", |bench| {
        warm_or_cold(bench);
    });
    assert_alike(&three, "spring alone", |bench| {
        weak_or_strong(bench);
    });
}

#[test]
fn the_nominal_value() {
    // The readings fit the label, by themselves, and where every instrument does.
    let as_the_label = |bench: &mut Bench| {
        let share = bench.evidence.nominal_mpa_s.unwrap() / bench.certified;
        bench.read(|_, truth, _| truth * share);
        100.0 * (share - 1.0)
    };
    assert_named(Kind::NominalUsed, "nominal alone", |bench| {
        as_the_label(bench);
    });
    assert_named(Kind::NominalUsed, "nominal, others", |bench| {
        let gain = as_the_label(bench);
        bench.others_are_sound();
        bench.evidence.witness.lot_that_day = bench.elsewhere(gain, 0.0);
        bench.evidence.witness.lot_other_days = bench.elsewhere(gain, 0.0);
        bench.evidence.witness.last_good = None;
    });
    // The record holds the label's value, and the certificate has another one.
    let typed = |bench: &mut Bench| {
        bench.evidence.nominal_mpa_s = Some(bench.certified);
        weak_or_strong(bench)
    };
    assert_named(Kind::NominalUsed, "label typed, others", |bench| {
        let gain = typed(bench);
        bench.others_are_sound();
        bench.evidence.witness.lot_that_day = bench.elsewhere(gain, 0.0);
        bench.evidence.witness.lot_other_days = bench.elsewhere(gain, 0.0);
        bench.evidence.witness.last_good = None;
    });
}

#[test]
fn a_kinematic_value() {
    let kinematic = |bench: &mut Bench| {
        let density = if bench.silicone {
            bench.dice.between(0.962, 0.976)
        } else {
            bench.dice.between(0.86, 0.90)
        };
        bench.evidence.nominal_mpa_s = Some(1.03 * bench.certified);
        bench.read(|_, truth, _| truth * density);
        100.0 * (density - 1.0)
    };
    assert_named(Kind::KinematicUsed, "kinematic alone", |bench| {
        kinematic(bench);
    });
    assert_named(Kind::KinematicUsed, "kinematic, others", |bench| {
        let gain = kinematic(bench);
        bench.others_are_sound();
        bench.evidence.witness.lot_that_day = bench.elsewhere(gain, 0.0);
        bench.evidence.witness.lot_other_days = bench.elsewhere(gain, 0.0);
        bench.evidence.witness.last_good = None;
    });
}

#[test]
fn another_geometry_or_speed() {
    let kind = Kind::WrongGeometryOrSpeed;
    assert_named(kind, "geometry", |bench| {
        let ratio = bench.dice.one_of(&[0.4, 0.125]);
        bench.read(|_, truth, _| truth * ratio);
    });
    assert_named(kind, "geometry that nobody listed", |bench| {
        bench.evidence.other_geometries.clear();
        let ratio = bench.dice.between(0.3, 0.7);
        bench.read(|_, truth, _| truth * ratio);
        bench.evidence.torque_disagrees = None;
    });
    assert_named(kind, "display set to another geometry", |bench| {
        let ratio = bench.dice.between(0.5, 0.92);
        bench.read(|_, truth, _| truth * ratio);
        bench.evidence.torque_disagrees = Some(true);
    });
    assert_named(kind, "speed", |bench| {
        let speeds = bench.evidence.speeds_rpm.clone();
        let at = bench.dice.one_of(&[0, 1, 2]);
        let recorded = bench.speeds[at];
        let slower: Vec<f64> = speeds.into_iter().filter(|rpm| *rpm < recorded).collect();
        let rpm = bench.dice.one_of(&slower);
        bench.read(|_, truth, moment| {
            if moment.speed == at {
                truth * rpm / recorded
            } else {
                truth
            }
        });
    });
}

#[test]
fn a_bent_spindle() {
    assert_named(Kind::BentSpindle, "bent", |bench| {
        bench.replicates = 3;
        let swing = bench.dice.between(0.6, 2.0);
        bench.read(|dice, truth, _| {
            let angle = dice.between(0.0, std::f64::consts::TAU);
            truth * (1.0 + swing / 100.0 * angle.sin()) + 0.5 * swing * angle.sin()
        });
        bench.evidence.unstable = bench.dice.sign() > 0.0;
    });
}

#[test]
fn a_missing_guard() {
    assert_named(Kind::GuardMissing, "guard", |bench| {
        let low = bench.dice.between(0.04, 0.12);
        bench.read(|_, truth, _| truth * (1.0 - low));
        bench.evidence.guard_fitted = bench.dice.one_of(&[None, Some(false)]);
    });
}

#[test]
fn friction() {
    let rubs = |bench: &mut Bench| {
        let lost = bench.dice.between(0.5, 1.6);
        bench.read(|_, truth, _| truth - lost);
        let zero = bench.dice.sign() * bench.dice.between(0.1, lost);
        bench.evidence.zero_percent = Some((zero * 10.0).round() / 10.0);
        lost
    };
    assert_named(Kind::Friction, "friction alone", |bench| {
        rubs(bench);
    });
    assert_named(Kind::Friction, "friction, others", |bench| {
        let lost = rubs(bench);
        bench.others_are_sound();
        bench.evidence.witness.lots_here = bench.elsewhere(-2.0 * lost, -lost);
    });
}

#[test]
fn a_zero_offset() {
    let off = |bench: &mut Bench| {
        let offset = bench.dice.sign() * bench.dice.between(0.5, 1.6);
        bench.read(|_, truth, _| truth + offset);
        let shown = (offset * 10.0).round() / 10.0;
        bench.evidence.zero_percent = bench.dice.one_of(&[None, Some(shown)]);
        offset
    };
    assert_named(Kind::ZeroOffset, "zero alone", |bench| {
        off(bench);
    });
    assert_named(Kind::ZeroOffset, "zero, others", |bench| {
        let offset = off(bench);
        bench.others_are_sound();
        bench.evidence.witness.lots_here = bench.elsewhere(2.0 * offset, offset);
    });
}

#[test]
fn a_spring() {
    assert_named(Kind::Spring, "spring, others", |bench| {
        let gain = weak_or_strong(bench);
        bench.others_are_sound();
        bench.evidence.witness.lots_here = bench.elsewhere(gain, 0.0);
    });
}

#[test]
fn a_bubble() {
    assert_named(Kind::BubbleOrImmersion, "bubble", |bench| {
        bench.replicates = 3;
        let gain = bench.dice.sign() * bench.dice.between(2.0, 5.0);
        bench.read(|dice, truth, _| truth * (1.0 + (gain + dice.normal(1.0)) / 100.0));
    });
}

#[test]
fn read_too_soon() {
    // What is missing falls with every turn: at twice the speed, in the same time, it is the square.
    let soon = |bench: &mut Bench, replicates: usize| {
        bench.replicates = replicates;
        let missing = bench.dice.between(0.04, 0.12);
        let speeds = bench.speeds;
        bench.read(|_, truth, moment| {
            let turns = speeds[moment.speed] / speeds[0] * (moment.replicate + 1) as f64;
            truth * (1.0 - missing.powf(turns))
        });
    };
    assert_named(Kind::ReadTooSoon, "too soon, read twice", |bench| {
        soon(bench, 2)
    });
    assert_named(Kind::ReadTooSoon, "too soon, read once", |bench| {
        soon(bench, 1)
    });
}

#[test]
fn not_soaked() {
    assert_named(Kind::NotSoaked, "not soaked", |bench| {
        bench.replicates = 2;
        let kelvin = bench.dice.sign() * bench.dice.between(1.0, 2.5);
        let left = bench.dice.between(0.1, 0.4);
        let beta = bench.beta;
        bench.read(|_, truth, moment| truth * (beta * kelvin * f64::powf(left, moment.time)).exp());
        bench.evidence.soak_minutes = bench.dice.one_of(&[None, Some(15.0)]);
        // The thermometer stands where the fluid is warmer or colder than the bath by a tenth of that.
        let count = bench.evidence.readings.len() as f64;
        for (at, reading) in bench.evidence.readings.iter_mut().enumerate() {
            let kelvin = 0.1 * kelvin * left.powf(at as f64 / (count - 1.0));
            reading.temperature_c = reading.temperature_c.map(|shown| shown + kelvin);
        }
    });
}

#[test]
fn an_old_fluid() {
    assert_named(Kind::FluidOld, "old, others", |bench| {
        let gain = weak_or_strong(bench);
        bench.others_are_sound();
        bench.evidence.witness.lot_that_day = bench.elsewhere(gain, 0.0);
        bench.evidence.witness.lot_other_days = bench.elsewhere(gain, 0.0);
        bench.evidence.witness.other_bottle = bench.elsewhere(0.0, 0.0);
    });
}

#[test]
fn vortices() {
    // Torque over laminar torque 1 + 1.45 (1 - (limit / speed)^2), the usual first rise.
    let swirls = |bench: &mut Bench, known: bool| {
        let above = bench.dice.between(1.02, 1.08);
        bench.certified = bench.dice.between(1.0, 8.0);
        let limit = bench.speeds[2] / above;
        bench.constant = bench.certified * bench.speeds[2] * 100.0 / bench.dice.between(70.0, 76.0);
        bench.evidence.nominal_mpa_s = Some(bench.certified * 1.03);
        bench.evidence.certified_mpa_s = Some(bench.certified);
        let speeds = bench.speeds;
        bench.read(|_, truth, moment| {
            let rise = 1.0 - (limit / speeds[moment.speed]).powi(2);
            truth * (1.0 + 1.45 * rise.max(0.0))
        });
        bench.evidence.geometry = Some(if known {
            GeometryKind::CoaxialCylinders
        } else {
            GeometryKind::Factored
        });
        bench.evidence.laminar_limit_rpm = known.then_some(limit);
    };
    assert_named(Kind::Vortices, "vortices, limit known", |bench| {
        swirls(bench, true)
    });
    assert_named(Kind::Vortices, "vortices, limit unknown", |bench| {
        swirls(bench, false)
    });
}

#[test]
fn bare_readings() {
    // Nothing but the readings: constant and proportional are told apart all the same.
    let bare = |bench: &mut Bench| {
        let readings = std::mem::take(&mut bench.evidence.readings);
        bench.evidence = Evidence {
            readings,
            ..Evidence::default()
        };
    };
    assert_alike(
        &[Kind::Friction, Kind::ZeroOffset],
        "bare offset",
        |bench| {
            let offset = bench.dice.between(-2.0, -1.0);
            bench.read(|_, truth, _| truth + offset);
            bare(bench);
        },
    );
    let three = [Kind::FluidTemperature, Kind::FluidOld, Kind::Spring];
    assert_alike(&three, "bare gain", |bench| {
        let gain = bench.dice.sign() * bench.dice.between(2.0, 4.0);
        bench.read(|_, truth, _| truth * (1.0 + gain / 100.0));
        bare(bench);
    });
}

#[test]
fn sound_checks_name_nothing() {
    // Readings and means are each taken for more than noise three times in a thousand, and mostly together: about 4 in 1000.
    let mut named = 0;
    for seed in 0..1000 {
        let mut bench = Bench::new("sound", seed);
        bench.read(|_, truth, _| truth);
        let ranked = causes(&bench.evidence);
        assert_eq!(ranked.within_noise, ranked.causes.is_empty());
        named += usize::from(!ranked.within_noise);
    }
    assert!(named <= 6, "{named} of 1000");
}
