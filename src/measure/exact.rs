//! Exact arithmetic on figures as they were written.

use std::cmp::Ordering;
use std::ops::{Add, Mul, Neg, Sub};

use num_bigint::BigInt;
use num_integer::Integer;
use num_rational::{BigRational, Ratio};
use num_traits::float::FloatCore;
use num_traits::{One, Signed, ToPrimitive, Zero};

/// Longest figure that is read, in characters.
const LONGEST_TEXT: usize = 64;
/// Largest size of a written power of ten that is read.
const LARGEST_EXPONENT: i64 = 400;
/// Rounding to more places or digits than this is rounding to this many: it bounds the work.
const MOST_DIGITS: u32 = 1000;
/// Digits kept of a value that no decimal can hold, such as a third.
const ENDLESS_DIGITS: u32 = 12;

/// An exact rational number.
///
/// In the short form wherever its reduced value fits.
#[derive(Clone, Debug)]
pub struct Exact(Form);

#[derive(Clone, Debug)]
enum Form {
    /// Reduced only where a step would not fit else: most figures never need it.
    ///
    /// The denominator is above zero and the numerator is not `i128::MIN`, so its sign can always be turned.
    Short { numerator: i128, denominator: i128 },
    /// Reduced.
    Long(Box<BigRational>),
}

impl PartialEq for Exact {
    fn eq(&self, other: &Exact) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Exact {}

impl std::hash::Hash for Exact {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        match &self.0 {
            Form::Short {
                numerator,
                denominator,
            } => reduced(*numerator, *denominator).hash(state),
            Form::Long(big) => big.hash(state),
        }
    }
}

impl Exact {
    /// The value of a TOML integer or float as written: `25.10`, `+0.5`, `1_000.0`, `1e3`, `0x1F`.
    ///
    /// `None` for what is no such number, for `nan` and `inf`, for a text of over 64 characters and for an exponent beyond
    /// 400 either way.
    pub fn parse(text: &str) -> Option<Exact> {
        plain_figure(text).or_else(|| Exact::parse_any(text))
    }

    /// As [`Exact::parse`], of any way of writing.
    fn parse_any(text: &str) -> Option<Exact> {
        let written = Written::read(text)?;
        let digits = match i128::from_str_radix(&written.digits, written.radix) {
            Ok(digits) => Exact::from_i128(digits),
            Err(_) => Exact::from_big(BigRational::from(BigInt::parse_bytes(
                written.digits.as_bytes(),
                written.radix,
            )?)),
        };
        let size = digits.times(&power_of_ten(written.unit_exponent));
        Some(if written.negative { -size } else { size })
    }

    /// The digits of a figure as nearly all are written, as one whole number, and how many of them stand behind the point: -125
    /// and 1 of `-12.5`. `None` of any other, sound or not, and of one with over 18 characters behind its sign.
    pub fn plain_digits(text: &str) -> Option<(i64, u32)> {
        let (negative, size) = match text.as_bytes() {
            [b'-', size @ ..] => (true, size),
            [b'+', size @ ..] | size => (false, size),
        };
        // 18 digits are below 2^63.
        if size.len() > 18 || matches!(size, [b'0', next, ..] if *next != b'.') {
            return None;
        }
        let mut digits = 0_i64;
        let mut point = None;
        for (at, byte) in size.iter().enumerate() {
            match byte {
                b'0'..=b'9' => digits = digits * 10 + i64::from(byte - b'0'),
                b'.' if point.is_none() && at > 0 => point = Some(at),
                _ => return None,
            }
        }
        let places = match point {
            Some(at) => size.len() - at - 1,
            None => 0,
        };
        if size.is_empty() || (point.is_some() && places == 0) {
            return None;
        }
        let digits = if negative { -digits } else { digits };
        Some((digits, u32::try_from(places).ok()?))
    }

    /// The unit of the last digit that was written: 0.1 for `516.0`, 1 for `516` and for `5.16e2`. `None` as for
    /// [`Exact::parse`].
    pub fn last_digit(text: &str) -> Option<Exact> {
        if let Some((_, places)) = Exact::plain_digits(text) {
            return short(1, ten_to(places)?);
        }
        Written::read(text).map(|written| power_of_ten(written.unit_exponent))
    }

    /// A whole number.
    pub fn integer(value: i64) -> Exact {
        Exact::from_i128(i128::from(value))
    }

    /// So many hundredths.
    pub const fn hundredths(value: i64) -> Exact {
        Exact(Form::Short {
            numerator: value as i128,
            denominator: 100,
        })
    }

    /// The exact value of a finite double; `None` for nan and the infinities.
    pub fn from_f64(value: f64) -> Option<Exact> {
        if !value.is_finite() {
            return None;
        }
        let (mantissa, exponent, sign) = FloatCore::integer_decode(value);
        let mantissa = i128::from(mantissa) * i128::from(sign);
        let size = u32::from(exponent.unsigned_abs());
        // A double of a usual size is a whole number over a power of two.
        if (-100..0).contains(&exponent) {
            let shared = mantissa.trailing_zeros().min(size);
            return short(mantissa >> shared, 1 << (size - shared));
        }
        let mantissa = Exact::from_i128(mantissa);
        match exponent.is_negative() {
            true => mantissa.divide(&power(2, size)),
            false => Some(mantissa.times(&power(2, size))),
        }
    }

    /// The nearest double; an infinity where the value is beyond all doubles.
    pub fn to_f64(&self) -> f64 {
        let nearest = match &self.0 {
            Form::Short {
                numerator,
                denominator,
            } => short_double(*numerator, *denominator).or_else(|| {
                let (numerator, denominator) = reduced(*numerator, *denominator);
                short_double(numerator, denominator)
                    .or_else(|| Ratio::new_raw(numerator, denominator).to_f64())
            }),
            Form::Long(big) => big.to_f64(),
        };
        nearest.unwrap_or(f64::NAN)
    }

    /// A double within two units of its last place of the value, zero or of a size from 1e-39 to 1e39: for what is only
    /// estimated. `None` of longer figures, few of which fit that.
    pub fn to_f64_about(&self) -> Option<f64> {
        match &self.0 {
            Form::Short {
                numerator,
                denominator,
            } => Some(*numerator as f64 / *denominator as f64),
            Form::Long(_) => None,
        }
    }

    pub fn zero() -> Exact {
        Exact::integer(0)
    }

    pub fn is_zero(&self) -> bool {
        matches!(self.0, Form::Short { numerator: 0, .. })
    }

    /// Whether the value is under zero.
    pub fn is_negative(&self) -> bool {
        match &self.0 {
            Form::Short { numerator, .. } => numerator.is_negative(),
            Form::Long(big) => big.is_negative(),
        }
    }

    /// Whether the value is over zero.
    pub fn is_positive(&self) -> bool {
        match &self.0 {
            Form::Short { numerator, .. } => numerator.is_positive(),
            Form::Long(big) => big.is_positive(),
        }
    }

    pub fn abs(&self) -> Exact {
        if self.is_negative() {
            self.negated()
        } else {
            self.clone()
        }
    }

    /// The quotient; `None` where the divisor is zero.
    pub fn divide(&self, divisor: &Exact) -> Option<Exact> {
        if divisor.is_zero() {
            return None;
        }
        if let (
            Form::Short {
                numerator: a,
                denominator: b,
            },
            Form::Short {
                numerator: c,
                denominator: d,
            },
        ) = (&self.0, &divisor.0)
            && let Some(quotient) =
                short_product(*a, *b, if c.is_negative() { -d } else { *d }, c.abs())
        {
            return Some(quotient);
        }
        Some(Exact::from_big(self.to_big() / divisor.to_big()))
    }

    /// A hundredth of the value: what a percentage is a share of.
    pub fn hundredth(&self) -> Exact {
        let short = match &self.0 {
            Form::Short {
                numerator,
                denominator,
            } => denominator
                .checked_mul(100)
                .and_then(|denominator| short(*numerator, denominator)),
            Form::Long(_) => None,
        };
        short.unwrap_or_else(|| self.times(&Exact::hundredths(1)))
    }

    /// The arithmetic mean; `None` of nothing.
    pub fn mean<'a>(values: impl IntoIterator<Item = &'a Exact>) -> Option<Exact> {
        let mut values = values.into_iter();
        let mut sum = values.next()?.clone();
        let mut count = 1;
        for value in values {
            sum = sum.plus(value);
            count += 1;
        }
        match count {
            1 => Some(sum),
            _ => sum.divide(&Exact::integer(count)),
        }
    }

    /// Rounded half to even to so many significant digits (at least one, at most 1000).
    pub fn rounded_significant(&self, digits: u32) -> Exact {
        let digits = digits.clamp(1, MOST_DIGITS);
        match self.leading_exponent() {
            None => Exact::zero(),
            Some(leading) => self.rounded_to(leading + 1 - i64::from(digits)),
        }
    }

    /// Rounded half to even to so many decimal places (at most 1000).
    pub fn rounded_decimals(&self, places: u32) -> Exact {
        self.rounded_to(-i64::from(places.min(MOST_DIGITS)))
    }

    /// Plain digits with at least one decimal place and no exponent: `2400.0`, `483.474`. A value that no decimal can hold
    /// is first rounded to 12 significant digits.
    pub fn to_decimal_string(&self) -> String {
        let value = match self.decimal_places() {
            Some(_) => self.clone(),
            None => self.rounded_significant(ENDLESS_DIGITS),
        };
        value.digits(value.decimal_places().unwrap_or(0).max(1))
    }

    /// Rounded half to even and written with exactly so many decimal places (at most 1000): `0.50`, and never `-0.00`.
    pub fn to_fixed_string(&self, places: u32) -> String {
        self.digits(places.min(MOST_DIGITS))
    }

    fn from_i128(value: i128) -> Exact {
        match short(value, 1) {
            Some(exact) => exact,
            None => Exact(Form::Long(Box::new(BigRational::from(BigInt::from(value))))),
        }
    }

    fn from_big(value: BigRational) -> Exact {
        if let (Some(numerator), Some(denominator)) =
            (value.numer().to_i128(), value.denom().to_i128())
            && let Some(exact) = short(numerator, denominator)
        {
            return exact;
        }
        Exact(Form::Long(Box::new(value)))
    }

    fn to_big(&self) -> BigRational {
        match &self.0 {
            Form::Short {
                numerator,
                denominator,
            } => BigRational::new(BigInt::from(*numerator), BigInt::from(*denominator)),
            Form::Long(big) => big.as_ref().clone(),
        }
    }

    fn plus(&self, other: &Exact) -> Exact {
        if let (
            Form::Short {
                numerator: a,
                denominator: b,
            },
            Form::Short {
                numerator: c,
                denominator: d,
            },
        ) = (&self.0, &other.0)
            && let Some(sum) = short_sum(*a, *b, *c, *d)
        {
            return sum;
        }
        Exact::from_big(self.to_big() + other.to_big())
    }

    fn times(&self, other: &Exact) -> Exact {
        if let (
            Form::Short {
                numerator: a,
                denominator: b,
            },
            Form::Short {
                numerator: c,
                denominator: d,
            },
        ) = (&self.0, &other.0)
            && let Some(product) = short_product(*a, *b, *c, *d)
        {
            return product;
        }
        Exact::from_big(self.to_big() * other.to_big())
    }

    fn negated(&self) -> Exact {
        match &self.0 {
            Form::Short {
                numerator,
                denominator,
            } => Exact(Form::Short {
                numerator: -numerator,
                denominator: *denominator,
            }),
            Form::Long(big) => Exact::from_big(-big.as_ref()),
        }
    }

    /// The nearest multiple of a power of ten, half to even.
    fn rounded_to(&self, exponent: i64) -> Exact {
        if let Form::Short {
            numerator,
            denominator,
        } = self.0
        {
            let reduced = || reduced(numerator, denominator);
            let again = || short_rounded(reduced().0, reduced().1, exponent);
            if let Some(rounded) = short_rounded(numerator, denominator, exponent).or_else(again) {
                return rounded;
            }
        }
        self.times(&power_of_ten(-exponent))
            .to_whole()
            .times(&power_of_ten(exponent))
    }

    /// The nearest whole number, half to even.
    fn to_whole(&self) -> Exact {
        match &self.0 {
            Form::Short {
                numerator,
                denominator,
            } => Exact::from_i128(half_even_short(*numerator, *denominator)),
            Form::Long(big) => {
                Exact::from_big(BigRational::from(half_even(big.numer(), big.denom())))
            }
        }
    }

    /// The power of ten of the first significant digit; `None` of zero.
    fn leading_exponent(&self) -> Option<i64> {
        let estimate = match &self.0 {
            Form::Short {
                numerator,
                denominator,
            } => {
                let (size, unit) = (numerator.unsigned_abs(), denominator.unsigned_abs());
                let estimate = digit_exponent(size)? - digit_exponent(unit)?;
                let ten = ten_to(u32::try_from(estimate.unsigned_abs()).ok()?);
                let ten = ten.map(i128::unsigned_abs);
                let (left, right) = match estimate < 0 {
                    true => (ten.and_then(|ten| size.checked_mul(ten)), Some(unit)),
                    false => (Some(size), ten.and_then(|ten| unit.checked_mul(ten))),
                };
                if let (Some(left), Some(right)) = (left, right) {
                    return Some(estimate - i64::from(left < right));
                }
                estimate
            }
            Form::Long(big) => big_exponent(big.numer())? - big_exponent(big.denom())?,
        };
        // The quotient of two numbers has the difference of their exponents, or one less.
        if self.abs() < power_of_ten(estimate) {
            Some(estimate - 1)
        } else {
            Some(estimate)
        }
    }

    /// How many decimal places hold the value exactly; `None` where none do.
    fn decimal_places(&self) -> Option<u32> {
        if let Form::Short {
            numerator,
            denominator,
        } = &self.0
            && let Ok(mut rest) = u64::try_from(reduced(*numerator, *denominator).1)
        {
            let mut count = |factor: u64| {
                let mut count = 0;
                while rest.is_multiple_of(factor) {
                    rest /= factor;
                    count += 1;
                }
                count
            };
            let (twos, fives) = (count(2), count(5));
            return (rest == 1).then_some(twos.max(fives));
        }
        let (twos, rest) = without_factor(self.to_big().denom().clone(), 2);
        let (fives, rest) = without_factor(rest, 5);
        rest.is_one().then_some(twos.max(fives))
    }

    fn digits(&self, places: u32) -> String {
        let units = self.times(&power(10, places)).to_whole();
        let sign = if units.is_negative() { "-" } else { "" };
        let digits = match &units.0 {
            Form::Short { numerator, .. } => numerator.unsigned_abs().to_string(),
            Form::Long(big) => big.numer().magnitude().to_string(),
        };
        let places = places as usize;
        let digits = "0".repeat((places + 1).saturating_sub(digits.len())) + &digits;
        let (whole, decimals) = digits.split_at(digits.len() - places);
        let point = if decimals.is_empty() { "" } else { "." };
        format!("{sign}{whole}{point}{decimals}")
    }
}

impl Ord for Exact {
    fn cmp(&self, other: &Exact) -> Ordering {
        if let (
            Form::Short {
                numerator: a,
                denominator: b,
            },
            Form::Short {
                numerator: c,
                denominator: d,
            },
        ) = (&self.0, &other.0)
        {
            if b == d {
                return a.cmp(c);
            }
            if let Some([a, b, c, d]) = narrow([*a, *b, *c, *d]) {
                return wide_product(a, d).cmp(&wide_product(c, b));
            }
            if let (Some(left), Some(right)) = (a.checked_mul(*d), c.checked_mul(*b)) {
                return left.cmp(&right);
            }
            let ((a, b), (c, d)) = (reduced(*a, *b), reduced(*c, *d));
            if let (Some(left), Some(right)) = (a.checked_mul(d), c.checked_mul(b)) {
                return left.cmp(&right);
            }
        }
        self.to_big().cmp(&other.to_big())
    }
}

impl PartialOrd for Exact {
    fn partial_cmp(&self, other: &Exact) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

macro_rules! operator {
    ($operator:ident, $method:ident, |$left:ident, $right:ident| $result:expr) => {
        impl $operator<&Exact> for &Exact {
            type Output = Exact;
            fn $method(self, other: &Exact) -> Exact {
                let ($left, $right) = (self, other);
                $result
            }
        }
        impl $operator<Exact> for &Exact {
            type Output = Exact;
            fn $method(self, other: Exact) -> Exact {
                $operator::$method(self, &other)
            }
        }
        impl $operator<&Exact> for Exact {
            type Output = Exact;
            fn $method(self, other: &Exact) -> Exact {
                $operator::$method(&self, other)
            }
        }
        impl $operator<Exact> for Exact {
            type Output = Exact;
            fn $method(self, other: Exact) -> Exact {
                $operator::$method(&self, &other)
            }
        }
    };
}

operator!(Add, add, |left, right| left.plus(right));
operator!(Sub, sub, |left, right| left.plus(&right.negated()));
operator!(Mul, mul, |left, right| left.times(right));

impl Neg for &Exact {
    type Output = Exact;
    fn neg(self) -> Exact {
        self.negated()
    }
}

impl Neg for Exact {
    type Output = Exact;
    fn neg(self) -> Exact {
        self.negated()
    }
}

/// A number taken apart as it was written: its digits, and the power of ten of the last of them.
struct Written {
    negative: bool,
    digits: String,
    radix: u32,
    unit_exponent: i64,
}

impl Written {
    fn read(text: &str) -> Option<Written> {
        if text.len() > LONGEST_TEXT {
            return None;
        }
        for (prefix, radix) in [("0x", 16), ("0o", 8), ("0b", 2)] {
            if let Some(digits) = text.strip_prefix(prefix) {
                return Some(Written {
                    negative: false,
                    digits: grouped_digits(digits, radix)?,
                    radix,
                    unit_exponent: 0,
                });
            }
        }
        let (negative, size) = without_sign(text);
        let (mantissa, exponent) = match size.split_once(['e', 'E']) {
            Some((mantissa, exponent)) => (mantissa, written_exponent(exponent)?),
            None => (size, 0),
        };
        let (whole, decimals) = match mantissa.split_once('.') {
            Some((whole, decimals)) => (whole, grouped_digits(decimals, 10)?),
            None => (mantissa, String::new()),
        };
        let whole = grouped_digits(whole, 10)?;
        if whole.starts_with('0') && whole != "0" {
            return None;
        }
        Some(Written {
            negative,
            unit_exponent: exponent - i64::try_from(decimals.len()).ok()?,
            digits: whole + &decimals,
            radix: 10,
        })
    }
}

fn without_sign(text: &str) -> (bool, &str) {
    match text.strip_prefix('-') {
        Some(size) => (true, size),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    }
}

fn written_exponent(text: &str) -> Option<i64> {
    let (negative, size) = without_sign(text);
    let size: i64 = grouped_digits(size, 10)?.parse().ok()?;
    if size > LARGEST_EXPONENT {
        return None;
    }
    Some(if negative { -size } else { size })
}

/// The digits without the underscores that TOML allows between two of them.
fn grouped_digits(text: &str, radix: u32) -> Option<String> {
    let mut digits = String::with_capacity(text.len());
    for group in text.split('_') {
        if group.is_empty() || !group.chars().all(|digit| digit.is_digit(radix)) {
            return None;
        }
        digits.push_str(group);
    }
    Some(digits)
}

/// A figure as nearly all are written, in a few digits with or without a point; `None` of any other, sound or not.
fn plain_figure(text: &str) -> Option<Exact> {
    let (digits, places) = Exact::plain_digits(text)?;
    short(i128::from(digits), ten_to(places)?)
}

/// A whole number that a double holds exactly.
fn whole_double(value: i128) -> Option<f64> {
    let value = i64::try_from(value).ok()?;
    (value.unsigned_abs() <= 1 << f64::MANTISSA_DIGITS).then_some(value as f64)
}

/// The quotient of two whole numbers that doubles hold exactly: so it is the nearest.
fn short_double(numerator: i128, denominator: i128) -> Option<f64> {
    Some(whole_double(numerator)? / whole_double(denominator)?)
}

/// All four in 64 bits, as those of nearly all figures are: products of two then always fit.
fn narrow(wide: [i128; 4]) -> Option<[i64; 4]> {
    let mut narrow = [0; 4];
    for (narrow, wide) in narrow.iter_mut().zip(wide) {
        *narrow = i64::try_from(wide).ok()?;
    }
    Some(narrow)
}

fn wide_product(a: i64, b: i64) -> i128 {
    i128::from(a) * i128::from(b)
}

/// The value in the short form, where it fits; the denominator is above zero.
fn short(numerator: i128, denominator: i128) -> Option<Exact> {
    (numerator != i128::MIN).then_some(Exact(Form::Short {
        numerator,
        denominator,
    }))
}

/// All powers of ten that fit.
const TENS: [i128; 39] = {
    let mut tens = [1; 39];
    let mut index = 1;
    while index < tens.len() {
        tens[index] = tens[index - 1] * 10;
        index += 1;
    }
    tens
};

fn ten_to(exponent: u32) -> Option<i128> {
    TENS.get(exponent as usize).copied()
}

/// Numerator and denominator without a common divisor.
fn reduced(numerator: i128, denominator: i128) -> (i128, i128) {
    let divisor = common_divisor(numerator.unsigned_abs(), denominator.unsigned_abs());
    match i128::try_from(divisor) {
        Ok(divisor) if divisor > 1 => (numerator / divisor, denominator / divisor),
        _ => (numerator, denominator),
    }
}

/// a/b + c/d in the short form; `None` where a step on the way does not fit.
fn short_sum(a: i128, b: i128, c: i128, d: i128) -> Option<Exact> {
    if b == d {
        return short(a.checked_add(c)?, b);
    }
    if let Some([a, b, c, d]) = narrow([a, b, c, d]) {
        // Of two decimals one denominator is a multiple of the other.
        return if b % d == 0 {
            short(i128::from(a) + wide_product(c, b / d), i128::from(b))
        } else if d % b == 0 {
            short(wide_product(a, d / b) + i128::from(c), i128::from(d))
        } else {
            let numerator = wide_product(a, d).checked_add(wide_product(c, b))?;
            short(numerator, wide_product(b, d))
        };
    }
    if let Some(sum) = direct_sum(a, b, c, d) {
        return Some(sum);
    }
    let ((a, b), (c, d)) = (reduced(a, b), reduced(c, d));
    // Over the least common denominator, or powers of two and ten that come together would soon not fit.
    let divisor = i128::try_from(common_divisor(b.unsigned_abs(), d.unsigned_abs())).ok()?;
    let (b_rest, d_rest) = (b / divisor, d / divisor);
    let numerator = a.checked_mul(d_rest)?.checked_add(c.checked_mul(b_rest)?)?;
    short(numerator, b.checked_mul(d_rest)?)
}

/// As [`short_sum`], without looking for what two denominators share unless one is a multiple of the other.
fn direct_sum(a: i128, b: i128, c: i128, d: i128) -> Option<Exact> {
    if b % d == 0 {
        short(a.checked_add(c.checked_mul(b / d)?)?, b)
    } else if d % b == 0 {
        short(a.checked_mul(d / b)?.checked_add(c)?, d)
    } else {
        let numerator = a.checked_mul(d)?.checked_add(c.checked_mul(b)?)?;
        short(numerator, b.checked_mul(d)?)
    }
}

/// a/b x c/d in the short form; `None` where a step on the way does not fit.
fn short_product(a: i128, b: i128, c: i128, d: i128) -> Option<Exact> {
    if let Some([a, b, c, d]) = narrow([a, b, c, d]) {
        return short(wide_product(a, c), wide_product(b, d));
    }
    if let (Some(numerator), Some(denominator)) = (a.checked_mul(c), b.checked_mul(d)) {
        return short(numerator, denominator);
    }
    // What stands above and below the line falls out before it is multiplied.
    let ((a, b), (c, d)) = (reduced(a, b), reduced(c, d));
    let ((a, d), (c, b)) = (reduced(a, d), reduced(c, b));
    short(a.checked_mul(c)?, b.checked_mul(d)?)
}

/// Euclid's way ends sooner on short decimals, the binary way on wide numbers.
fn common_divisor(a: u128, b: u128) -> u128 {
    if a == 0 || b == 0 {
        return a | b;
    }
    let twos = (a | b).trailing_zeros();
    let (a, b) = (a >> a.trailing_zeros(), b >> b.trailing_zeros());
    odd_divisor(a, b) << twos
}

/// Of two odd numbers. Denominators are mostly powers of two and five, so that one is narrow here.
fn odd_divisor(a: u128, b: u128) -> u128 {
    let (wide, narrow) = (a.max(b), a.min(b));
    let Ok(mut short_a) = u64::try_from(narrow) else {
        return a.gcd(&b);
    };
    let Ok(mut short_b) = u64::try_from(wide % narrow) else {
        return a.gcd(&b);
    };
    while short_b != 0 {
        (short_a, short_b) = (short_b, short_a % short_b);
    }
    u128::from(short_a)
}

/// a/b rounded half to even to a multiple of a power of ten, in the short form; `None` where a step on the way does not fit.
fn short_rounded(a: i128, b: i128, exponent: i64) -> Option<Exact> {
    let unit = ten_to(u32::try_from(exponent.unsigned_abs()).ok()?)?;
    if exponent.is_negative() {
        short(half_even_short(a.checked_mul(unit)?, b), unit)
    } else {
        short(
            half_even_short(a, b.checked_mul(unit)?).checked_mul(unit)?,
            1,
        )
    }
}

fn power(base: i128, exponent: u32) -> Exact {
    match base.checked_pow(exponent) {
        Some(power) => Exact::from_i128(power),
        None => Exact::from_big(BigRational::from(BigInt::from(base).pow(exponent))),
    }
}

/// Ten to this power. No figure that is read or rounded comes near the bounds of the exponent's type.
fn power_of_ten(exponent: i64) -> Exact {
    if let Some(denominator) = exponent
        .checked_neg()
        .and_then(|places| ten_to(u32::try_from(places).ok()?))
    {
        return Exact(Form::Short {
            numerator: 1,
            denominator,
        });
    }
    let size = power(
        10,
        u32::try_from(exponent.unsigned_abs()).unwrap_or(u32::MAX),
    );
    if exponent.is_negative() {
        Exact::integer(1).divide(&size).unwrap_or_else(Exact::zero)
    } else {
        size
    }
}

/// As [`half_even`], and narrow where both are: wide division is slow.
fn half_even_short(numerator: i128, denominator: i128) -> i128 {
    match (i64::try_from(numerator), i64::try_from(denominator)) {
        (Ok(numerator), Ok(denominator)) => i128::from(half_even(&numerator, &denominator)),
        _ => half_even(&numerator, &denominator),
    }
}

/// The quotient rounded half to even; the denominator is above zero.
fn half_even<T: Integer + Clone>(numerator: &T, denominator: &T) -> T {
    let (floor, rest) = numerator.div_mod_floor(denominator);
    let up = match rest.cmp(&(denominator.clone() - rest.clone())) {
        Ordering::Less => false,
        Ordering::Equal => floor.is_odd(),
        Ordering::Greater => true,
    };
    if up { floor + T::one() } else { floor }
}

/// As [`big_exponent`].
fn digit_exponent(value: u128) -> Option<i64> {
    let exponent = match u64::try_from(value) {
        Ok(value) => value.checked_ilog10()?,
        Err(_) => value.checked_ilog10()?,
    };
    Some(i64::from(exponent))
}

/// The power of ten of the first digit of a whole number; `None` of zero.
fn big_exponent(value: &BigInt) -> Option<i64> {
    if value.is_zero() {
        return None;
    }
    i64::try_from(value.magnitude().to_string().len() - 1).ok()
}

/// How often a factor divides a number above zero, and what is left without it.
fn without_factor(mut value: BigInt, factor: u32) -> (u32, BigInt) {
    let mut count = 0;
    loop {
        let (quotient, rest) = value.div_rem(&BigInt::from(factor));
        if !rest.is_zero() {
            return (count, value);
        }
        value = quotient;
        count += 1;
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;
    use std::hash::{DefaultHasher, Hash, Hasher};

    use proptest::prelude::*;

    use super::*;

    fn x(text: &str) -> Exact {
        Exact::parse(text).unwrap()
    }

    fn over(numerator: &str, denominator: &str) -> Exact {
        x(numerator).divide(&x(denominator)).unwrap()
    }

    fn is_long(value: &Exact) -> bool {
        matches!(value.0, Form::Long(_))
    }

    fn hash_of(value: &Exact) -> u64 {
        let mut hasher = DefaultHasher::new();
        value.hash(&mut hasher);
        hasher.finish()
    }

    /// 10^40 + 1, beyond the short form (i128 ends at 1.7 x 10^38).
    const LONG: &str = "10000000000000000000000000000000000000001";

    proptest! {
        #[test]
        fn divisors_are_those_of_the_long_way(a in any::<u128>(), b in any::<u128>(), by in 0_u32..120, other in 0_u32..120) {
            prop_assert_eq!(common_divisor(a >> by, b >> other), (a >> by).gcd(&(b >> other)));
        }

        #[test]
        fn short_sums_and_products_are_those_of_the_long_way(
            a in any::<i64>(), b in 1..i64::MAX, c in any::<i64>(), d in 1..i64::MAX,
            twos in 0_u32..60, tens in 0_u32..18,
        ) {
            let wide = |numerator: i64, denominator: i128| {
                BigRational::new(BigInt::from(numerator), BigInt::from(denominator))
            };
            let (below, under) = (i128::from(b) << twos, i128::from(d).saturating_mul(10_i128.pow(tens)));
            let (one, other) = (wide(a, below), wide(c, under));
            let (left, right) = (Exact::from_big(one.clone()), Exact::from_big(other.clone()));
            prop_assert_eq!(left.plus(&right), Exact::from_big(&one + &other));
            prop_assert_eq!(left.times(&right), Exact::from_big(one * other));
        }

        #[test]
        fn values_that_are_not_reduced_are_equal_to_those_that_are(
            steps in prop::collection::vec((0_u8..4, -(1_i64 << 40)..(1_i64 << 40), 0_u32..9), 1..12),
        ) {
            let mut value = Exact::integer(1);
            let mut wide = BigRational::one();
            for (step, digits, places) in steps {
                let unit = BigInt::from(10).pow(places);
                let figure = Exact::integer(digits).divide(&power(10, places)).unwrap();
                let wide_figure = BigRational::new(BigInt::from(digits), unit);
                match step {
                    0 => (value, wide) = (value.plus(&figure), wide + wide_figure),
                    1 => (value, wide) = (value.times(&figure), wide * wide_figure),
                    2 => (value, wide) = (value.plus(&figure.negated()), wide - wide_figure),
                    _ if digits == 0 => {}
                    _ => (value, wide) = (value.divide(&figure).unwrap(), wide / wide_figure),
                }
            }
            let same = Exact::from_big(wide.clone());
            prop_assert_eq!(value.cmp(&same), Ordering::Equal);
            prop_assert_eq!(hash_of(&value), hash_of(&same));
            prop_assert_eq!(is_long(&value), is_long(&same));
            prop_assert_eq!(value.decimal_places(), same.decimal_places());
            prop_assert_eq!(value.to_decimal_string(), same.to_decimal_string());
            prop_assert_eq!(value.leading_exponent(), same.leading_exponent());
            prop_assert_eq!(Some(value.to_f64()), wide.to_f64());
            let more = value.plus(&over("1", "7"));
            prop_assert!(more > same);
        }

        #[test]
        fn the_short_way_reads_as_the_long_one(text in "[+-]?[0-9._e]{0,22}") {
            if let Some(value) = plain_figure(&text) {
                prop_assert_eq!(Exact::parse_any(&text), Some(value));
            }
        }

        #[test]
        fn plain_decimals_are_read_the_short_way(text in "[+-]?(0|[1-9][0-9]{0,8})(\\.[0-9]{1,7})?") {
            prop_assert_eq!(plain_figure(&text), Exact::parse_any(&text));
        }

        #[test]
        fn a_hundredth_is_the_quotient(a in any::<i128>(), b in 1..i128::MAX, by in 0_u32..127, other in 0_u32..126) {
            let long = BigRational::new(BigInt::from(a >> by), BigInt::from((b >> other).max(1)));
            let value = Exact::from_big(long.clone());
            prop_assert_eq!(value.hundredth(), Exact::from_big(&long / BigInt::from(100)));
            if let Some(about) = value.to_f64_about() {
                let nearest = value.to_f64();
                prop_assert!((about - nearest).abs() <= 1e-15 * nearest.abs(), "{about} {nearest}");
            }
        }

        #[test]
        fn doubles_are_the_nearest(a in -(1_i64 << 55)..(1_i64 << 55), b in 1..(1_i64 << 55)) {
            let value = Exact::integer(a).divide(&Exact::integer(b)).unwrap();
            let wide = BigRational::new(BigInt::from(a), BigInt::from(b));
            prop_assert_eq!(Some(value.to_f64()), wide.to_f64());
        }
    }

    #[test]
    fn reads_what_toml_writes() {
        for (text, numerator, denominator) in [
            ("25.10", 251, 10),
            ("+0.5", 1, 2),
            ("-0.5", -1, 2),
            ("1_000.0", 1000, 1),
            ("1_000.000_5", 2_000_001, 2000),
            ("1e3", 1000, 1),
            ("1E+3", 1000, 1),
            ("5.16e2", 516, 1),
            ("5.16e-2", 129, 2500),
            ("1e0_3", 1000, 1),
            ("0x1F", 31, 1),
            ("0xdead_beef", 3_735_928_559, 1),
            ("0o17", 15, 1),
            ("0b101", 5, 1),
            ("0", 0, 1),
            ("-0.0", 0, 1),
            ("0e5", 0, 1),
            ("0.05", 1, 20),
        ] {
            let value = Exact::integer(numerator).divide(&Exact::integer(denominator));
            assert_eq!(Exact::parse(text), value, "{text}");
        }
    }

    #[test]
    fn reads_nothing_else() {
        for text in [
            "", "+", "-", "nan", "+nan", "inf", "-inf", ".5", "5.", "1.e3", "e3", "1e", "1e+",
            "1.5.2", "1e3e3", "_1", "1_", "1__0", "1_.5", "1._5", "1e_3", "007", "00", "-01.5",
            "0_1", "+0x1F", "-0b1", "0x", "0xG", "0o8", "0b2", "0X1F", "1f", " 1", "1 ", "--1",
            "+-1", "1,5", "\u{661}", "1/2",
        ] {
            assert_eq!(Exact::parse(text), None, "{text}");
            assert_eq!(Exact::last_digit(text), None, "{text}");
        }
    }

    #[test]
    fn bounds_what_it_reads() {
        let longest = "1".repeat(64);
        assert_eq!(x(&longest).to_decimal_string(), format!("{longest}.0"));
        assert_eq!(Exact::parse(&"1".repeat(65)), None);
        assert_eq!(Exact::parse(&format!("0x{}", "F".repeat(63))), None);
        assert_eq!(Exact::last_digit(&"1".repeat(65)), None);
        assert_eq!(
            x("1e400").to_decimal_string(),
            format!("1{}.0", "0".repeat(400))
        );
        assert_eq!(
            x("1e-400").to_decimal_string(),
            format!("0.{}1", "0".repeat(399))
        );
        for text in ["1e401", "1e-401", "1e99999999999999999999", "0e401"] {
            assert_eq!(Exact::parse(text), None, "{text}");
        }
        // 62 digits of 0xF are 2^248 - 1 (by hand).
        let largest = x(&format!("0x{}", "F".repeat(62)));
        assert_eq!(largest + Exact::integer(1), power(2, 248));
    }

    #[test]
    fn knows_the_last_digit_written() {
        for (text, unit) in [
            ("516.0", "0.1"),
            ("516", "1"),
            ("-516.25", "0.01"),
            ("5.16e2", "1"),
            ("5.160e2", "0.1"),
            ("516e2", "100"),
            ("5.1e-1", "0.01"),
            ("1_000.0_0", "0.01"),
            ("0x1F", "1"),
            ("0.0", "0.1"),
        ] {
            assert_eq!(Exact::last_digit(text), Some(x(unit)), "{text}");
        }
    }

    #[test]
    fn calculates_by_owned_value_and_by_reference() {
        let (a, b) = (x("0.1"), x("0.2"));
        assert_eq!(&a + &b, x("0.3"));
        assert_eq!(a.clone() + &b, x("0.3"));
        assert_eq!(&a + b.clone(), x("0.3"));
        assert_eq!(a.clone() + b.clone(), x("0.3"));
        assert_eq!(&a - &b, x("-0.1"));
        assert_eq!(a.clone() - &b, x("-0.1"));
        assert_eq!(&a - b.clone(), x("-0.1"));
        assert_eq!(a.clone() - b.clone(), x("-0.1"));
        assert_eq!(&a * &b, x("0.02"));
        assert_eq!(a.clone() * &b, x("0.02"));
        assert_eq!(&a * b.clone(), x("0.02"));
        assert_eq!(a.clone() * b.clone(), x("0.02"));
        assert_eq!(-&a, x("-0.1"));
        assert_eq!(-a, x("-0.1"));
    }

    #[test]
    fn calculates_beyond_the_short_form() {
        let long = x(LONG);
        assert!(is_long(&long));
        assert_eq!(
            (&long + &long).to_decimal_string(),
            "20000000000000000000000000000000000000002.0"
        );
        assert_eq!(
            (&long - Exact::integer(2)).to_decimal_string(),
            "9999999999999999999999999999999999999999.0"
        );
        assert_eq!(
            (-&long).to_decimal_string(),
            "-10000000000000000000000000000000000000001.0"
        );
        assert_eq!(
            (&long * x("0.5")).to_decimal_string(),
            "5000000000000000000000000000000000000000.5"
        );
        // (10^40 + 1)^2 = 10^80 + 2 x 10^40 + 1 (by hand).
        assert_eq!(&long * &long, x("1e80") + x("2e40") + x("1"));
        assert_eq!((&long * &long).divide(&long), Some(long.clone()));
        assert_eq!(over("1e30", "3e-30"), over("1e60", "3"));
    }

    #[test]
    fn one_value_has_one_form() {
        let long = x(LONG);
        let back = (&long - x("1e40")) * x("2.5");
        assert!(!is_long(&back));
        assert_eq!(back, x("2.5"));
        assert_eq!(hash_of(&back), hash_of(&x("2.50")));
        assert_eq!(long.divide(&long), Some(Exact::integer(1)));
        let set: HashSet<Exact> = [x("25.10"), x("25.1"), over("251", "10"), back].into();
        assert_eq!(set.len(), 2);
        // The end of i128 has no positive counterpart, so it is never short.
        let end = x("-170141183460469231731687303715884105728");
        assert!(is_long(&end));
        assert_eq!(Exact::from_i128(i128::MIN), end);
        assert!(end.is_negative());
        assert_eq!(
            end.abs().to_decimal_string(),
            "170141183460469231731687303715884105728.0"
        );
        assert!(!is_long(&x("-170141183460469231731687303715884105727")));
        assert_eq!(-(-&end), end);
    }

    #[test]
    fn short_steps_report_what_does_not_fit() {
        assert_eq!(short_sum(1, 2, 1, 3), Some(over("5", "6")));
        assert_eq!(short_sum(1, 6, 1, 6), Some(over("1", "3")));
        assert_eq!(short_sum(i128::MAX, 1, 1, 1), None);
        assert_eq!(short_sum(i128::MAX, 1, 1, 2), None);
        assert_eq!(short_sum(1, i128::MAX, 1, 2), None);
        assert_eq!(short_product(2, 3, 3, 4), Some(over("1", "2")));
        assert_eq!(short_product(i128::MAX, 1, 2, 1), None);
        assert_eq!(short_product(1, i128::MAX, 1, 2), None);
        assert_eq!(short_rounded(1, 3, -2), Some(x("0.33")));
        assert_eq!(short_rounded(125, 1, 1), Some(x("120")));
        assert_eq!(short_rounded(5, 2, 0), Some(x("2")));
        assert_eq!(short_rounded(1, 3, -39), None);
        assert_eq!(short_rounded(i128::MAX, 3, -1), None);
        assert_eq!(short_rounded(1, i128::MAX, 1), None);
        assert_eq!(short(i128::MIN, 2), None);
        assert_eq!(short(6, 4), Some(x("1.5")));
        // By hand: 12 and 8; 3 x 2^70 and 2^71.
        assert_eq!(common_divisor(12, 8), 4);
        assert_eq!(common_divisor(8, 12), 4);
        assert_eq!(common_divisor(0, 5), 5);
        assert_eq!(common_divisor(7, 10), 1);
        assert_eq!(common_divisor(3 << 70, 1 << 71), 1 << 70);
    }

    #[test]
    fn divides_but_not_by_zero() {
        assert_eq!(x("1").divide(&x("0.0")), None);
        assert_eq!(x(LONG).divide(&Exact::zero()), None);
        assert_eq!(Exact::zero().divide(&x("2")), Some(Exact::zero()));
        assert_eq!(x("1").divide(&x("-4")), Some(x("-0.25")));
        assert_eq!(x("-1").divide(&x("-4")), Some(x("0.25")));
        assert_eq!(x("1.5").divide(&x("0.25")), Some(x("6")));
    }

    #[test]
    fn knows_its_sign() {
        for (text, negative, positive) in [
            ("-0.1", true, false),
            ("0.0", false, false),
            ("0.1", false, true),
            ("-1e60", true, false),
            ("1e60", false, true),
        ] {
            let value = x(text);
            assert_eq!(value.is_negative(), negative, "{text}");
            assert_eq!(value.is_positive(), positive, "{text}");
            assert_eq!(value.is_zero(), !negative && !positive, "{text}");
        }
        assert_eq!(x("-0.1").abs(), x("0.1"));
        assert_eq!(x("0.1").abs(), x("0.1"));
        assert_eq!(x("-1e60").abs(), x("1e60"));
        assert_eq!(Exact::zero(), Exact::integer(0));
    }

    #[test]
    fn orders_by_value() {
        let ascending = [
            x("-1e60"),
            x("-1"),
            x("-0.25"),
            Exact::zero(),
            x("1e-60"),
            over("1", "3"),
            x("0.34"),
            x("1e38"),
            x("1e38") + x("0.1"),
            x("1e60"),
        ];
        for (i, left) in ascending.iter().enumerate() {
            for (j, right) in ascending.iter().enumerate() {
                assert_eq!(left.cmp(right), i.cmp(&j), "{left:?} {right:?}");
                assert_eq!(left.partial_cmp(right), Some(i.cmp(&j)));
            }
        }
    }

    #[test]
    fn takes_the_mean() {
        assert_eq!(
            Exact::mean(&[x("25.0"), x("25.1"), x("25.3")]),
            Some(over("75.4", "3"))
        );
        assert_eq!(Exact::mean(&[]), None);
    }

    #[test]
    fn doubles_are_taken_exactly() {
        // Python: Decimal(0.1)
        assert_eq!(
            Exact::from_f64(0.1),
            Some(x(
                "0.1000000000000000055511151231257827021181583404541015625"
            ))
        );
        assert_eq!(Exact::from_f64(-2.5), Some(x("-2.5")));
        assert_eq!(Exact::from_f64(-0.0), Some(Exact::zero()));
        assert_eq!(Exact::from_f64(1.0), Some(Exact::integer(1)));
        assert_eq!(Exact::from_f64(8.0), Some(Exact::integer(8)));
        assert_eq!(Exact::from_f64(-3e6), Some(x("-3e6")));
        assert_eq!(
            Exact::from_f64(2_f64.powi(-90)),
            Exact::integer(1).divide(&power(2, 90))
        );
        // The largest double is (2^53 - 1) x 2^971, the smallest 2^-1074 (IEEE 754).
        let largest = Exact::integer((1 << 53) - 1) * power(2, 971);
        assert_eq!(Exact::from_f64(f64::MAX), Some(largest));
        assert_eq!(
            Exact::from_f64(5e-324),
            Exact::integer(1).divide(&power(2, 1074))
        );
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(Exact::from_f64(value), None);
        }
    }

    #[test]
    fn gives_the_nearest_double() {
        assert_eq!(x("0.1").to_f64(), 0.1);
        assert_eq!(x("-512.6").to_f64(), -512.6);
        assert_eq!(over("1", "3").to_f64(), 1.0 / 3.0);
        assert_eq!(x("1e60").to_f64(), 1e60);
        assert_eq!(x("1e400").to_f64(), f64::INFINITY);
        assert_eq!(x("-1e400").to_f64(), f64::NEG_INFINITY);
        assert_eq!(x("1e-400").to_f64(), 0.0);
    }

    #[test]
    fn rounds_half_to_even_in_places() {
        for (text, places, rounded) in [
            ("0.125", 2, "0.12"),
            ("0.135", 2, "0.14"),
            ("-0.125", 2, "-0.12"),
            ("-0.135", 2, "-0.14"),
            ("0.1250000001", 2, "0.13"),
            ("0.1349999999", 2, "0.13"),
            ("2.5", 0, "2"),
            ("3.5", 0, "4"),
            ("-2.5", 0, "-2"),
            ("-0.004", 2, "0"),
            ("25.1", 5, "25.1"),
            ("0.5", u32::MAX, "0.5"),
            ("1e60", 2, "1e60"),
        ] {
            assert_eq!(x(text).rounded_decimals(places), x(rounded), "{text}");
        }
        // Beyond the short form: ...00.5 to the even number below, ...01.5 to the even number above.
        let half = x(LONG) + x("0.5");
        assert_eq!(half.rounded_decimals(0), x(LONG) + x("1"));
        assert_eq!((half - x("1")).rounded_decimals(0), x("1e40"));
        assert_eq!((x("1e40") + over("1", "3")).rounded_decimals(0), x("1e40"));
    }

    #[test]
    fn rounds_half_to_even_in_significant_digits() {
        for (text, digits, rounded) in [
            ("483.4735", 6, "483.474"),
            ("483.4745", 6, "483.474"),
            ("483.47451", 6, "483.475"),
            ("-483.4745", 6, "-483.474"),
            ("4866.503333", 6, "4866.5"),
            ("999999.5", 6, "1000000"),
            ("999998.5", 6, "999998"),
            ("123456789", 6, "123457000"),
            ("1234565", 6, "1234560"),
            ("0.00012345675", 6, "0.000123457"),
            ("0.1", 6, "0.1"),
            ("1", 1, "1"),
            ("0.95", 1, "1"),
            ("0.85", 1, "0.8"),
            ("14", 0, "10"),
            ("0", 6, "0"),
            ("1e60", 6, "1e60"),
            ("7.00000049e-45", 6, "7e-45"),
            ("0.5", u32::MAX, "0.5"),
        ] {
            assert_eq!(x(text).rounded_significant(digits), x(rounded), "{text}");
        }
        assert_eq!(over("2", "3").rounded_significant(6), x("0.666667"));
        assert_eq!(over("1e50", "3").rounded_significant(6), x("3.33333e49"));
        assert_eq!(over("5e50", "3").rounded_significant(6), x("1.66667e50"));
        assert_eq!(over("-1e50", "3").rounded_significant(2), x("-3.3e49"));
    }

    #[test]
    fn knows_the_exponent_of_the_first_digit() {
        for (text, exponent) in [
            ("1", 0),
            ("9.99", 0),
            ("10", 1),
            ("0.1", -1),
            ("0.099", -2),
            ("-483.4", 2),
            ("1e60", 60),
            ("9e-60", -60),
        ] {
            assert_eq!(x(text).leading_exponent(), Some(exponent), "{text}");
        }
        assert_eq!(Exact::zero().leading_exponent(), None);
        assert_eq!(big_exponent(&BigInt::from(0)), None);
        assert_eq!(big_exponent(&BigInt::from(-1234)), Some(3));
    }

    #[test]
    fn writes_plain_digits() {
        for (text, written) in [
            ("2400", "2400.0"),
            ("483.4740", "483.474"),
            ("-0.0", "0.0"),
            ("0.05", "0.05"),
            ("-0.05", "-0.05"),
            ("1e-7", "0.0000001"),
            ("1.2e21", "1200000000000000000000.0"),
            ("0.125", "0.125"),
            ("0.2", "0.2"),
            ("100", "100.0"),
        ] {
            assert_eq!(x(text).to_decimal_string(), written, "{text}");
        }
        assert_eq!(over("1", "3").to_decimal_string(), "0.333333333333");
        assert_eq!(over("-2e15", "3").to_decimal_string(), "-666666666667000.0");
        assert_eq!(over("7", "6").to_decimal_string(), "1.16666666667");
        assert_eq!(over("1", "1024").to_decimal_string(), "0.0009765625");
        // The last digit of 2^-1074 is its 1074th, beyond where rounding ends.
        assert_eq!(
            Exact::from_f64(5e-324).unwrap().to_decimal_string().len(),
            1076
        );
    }

    #[test]
    fn writes_so_many_places() {
        for (text, places, written) in [
            ("0.5", 2, "0.50"),
            ("-0.5", 2, "-0.50"),
            ("0.004", 2, "0.00"),
            ("-0.004", 2, "0.00"),
            ("-0.006", 2, "-0.01"),
            ("12.345", 2, "12.34"),
            ("12.5", 0, "12"),
            ("1234", 3, "1234.000"),
            ("1e40", 1, "10000000000000000000000000000000000000000.0"),
        ] {
            assert_eq!(x(text).to_fixed_string(places), written, "{text}");
        }
        assert_eq!(over("2", "3").to_fixed_string(4), "0.6667");
        assert_eq!(x("1").to_fixed_string(u32::MAX).len(), 1002);
    }

    fn any_exact() -> impl Strategy<Value = Exact> {
        (any::<i64>(), 1..i64::MAX, -60_i64..60).prop_map(|(numerator, denominator, exponent)| {
            let value = Exact::integer(numerator)
                .divide(&Exact::integer(denominator))
                .unwrap();
            value * power_of_ten(exponent)
        })
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC{0,70}") {
            let _ = (Exact::parse(&text), Exact::last_digit(&text));
        }

        #[test]
        fn a_double_survives(value in any::<f64>()) {
            match Exact::from_f64(value) {
                Some(exact) => prop_assert_eq!(exact.to_f64(), value),
                None => prop_assert!(!value.is_finite()),
            }
        }

        #[test]
        fn reads_a_decimal_as_its_double(whole in any::<i32>(), decimals in "[0-9]{1,6}", exponent in -20..20) {
            let text = format!("{whole}.{decimals}e{exponent}");
            prop_assert_eq!(x(&text).to_f64(), text.parse::<f64>().unwrap());
        }

        #[test]
        fn arithmetic_holds_together(a in any_exact(), b in any_exact(), c in any_exact()) {
            prop_assert_eq!(&a + &b, &b + &a);
            prop_assert_eq!(&a * &b, &b * &a);
            prop_assert_eq!(&(&a + &b) - &b, a.clone());
            prop_assert_eq!(&a * (&b + &c), &a * &b + &a * &c);
            prop_assert_eq!((&a - &b).is_negative(), a < b);
            if let Some(quotient) = a.divide(&b) {
                prop_assert_eq!(quotient * &b, a.clone());
            }
        }

        #[test]
        fn rounding_moves_by_half_a_unit_at_most(a in any_exact(), places in 0_u32..30) {
            let rounded = a.rounded_decimals(places);
            let unit = power_of_ten(-i64::from(places));
            prop_assert!((&rounded - &a).abs() * Exact::integer(2) <= unit);
            prop_assert_eq!(x_of(&rounded.to_fixed_string(places)), rounded);
        }

        #[test]
        fn written_digits_read_back(numerator in any::<i64>(), places in 0_u32..18) {
            let value = Exact::integer(numerator) * power_of_ten(-i64::from(places));
            prop_assert_eq!(x(&value.to_decimal_string()), value);
        }
    }

    /// Reads a figure of any length: its digits and the number of its decimals.
    fn x_of(text: &str) -> Exact {
        let places = text
            .split_once('.')
            .map_or(0, |(_, decimals)| decimals.len());
        let digits: BigInt = text.replace('.', "").parse().unwrap();
        Exact::from_big(BigRational::from(digits)) * power_of_ten(-(places as i64))
    }
}
