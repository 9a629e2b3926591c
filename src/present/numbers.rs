//! Numbers with the digits they deserve.

/// At most so many significant digits, without idle zeros.
#[must_use]
pub fn trimmed(x: f64, digits: usize) -> String {
    let text = significant(x, digits);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_string() } else { text }
}

/// A number with this many significant digits and thousands separated by commas.
#[must_use]
pub fn significant(x: f64, digits: usize) -> String {
    if !x.is_finite() {
        return if x == f64::INFINITY { "unlimited".into() } else { "-".into() };
    }
    // Below this it is what rounding left of nothing.
    if x.abs() < 1e-12 {
        return "0".into();
    }
    let magnitude = x.abs().log10().floor() as i32;
    let rounded = round_to(x, digits as i32 - 1 - magnitude);
    // Rounding may carry into the next decade: 9.99 becomes 10.0.
    let magnitude = rounded.abs().log10().floor() as i32;
    let decimals = (digits as i32 - 1 - magnitude).max(0) as usize;
    grouped(&format!("{rounded:.decimals$}"))
}

/// A number as it was given, with thousands separated by commas.
#[must_use]
pub fn plain(x: f64) -> String {
    if x.is_finite() { grouped(&format!("{x}")) } else { "-".into() }
}

fn round_to(x: f64, decimals: i32) -> f64 {
    let scale = 10.0_f64.powi(decimals.abs());
    if decimals >= 0 { (x * scale).round() / scale } else { (x / scale).round() * scale }
}

fn grouped(text: &str) -> String {
    let (sign, digits) = text.strip_prefix('-').map_or(("", text), |d| ("-", d));
    let (whole, fraction) = digits.split_once('.').map_or((digits, ""), |(w, f)| (w, f));
    let mut out = String::new();
    for (i, c) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i) % 3 == 0 {
            out.push(',');
        }
        out.push(c);
    }
    if fraction.is_empty() { format!("{sign}{out}") } else { format!("{sign}{out}.{fraction}") }
}

/// A life as years, months or days.
#[must_use]
pub fn years(life_km: f64, km_per_year: f64) -> String {
    let years = life_km / km_per_year;
    if !years.is_finite() {
        return "unlimited".into();
    }
    if years >= 200.0 {
        return "over 200 years".into();
    }
    if years * 365.0 < 1.0 {
        return "under a day".into();
    }
    let (value, unit) = match years {
        y if y >= 1.95 => (y, "year"),
        y if y * 12.0 >= 1.95 => (y * 12.0, "month"),
        y => (y * 365.0, "day"),
    };
    let rounded = significant(value, 2);
    if rounded == "1" || rounded == "1.0" { format!("1 {unit}") } else { format!("{} {unit}s", rounded.trim_end_matches(".0")) }
}

/// A share as percent.
#[must_use]
pub fn percent(share: f64) -> String {
    let p = 100.0 * share;
    match p {
        p if !p.is_finite() => "-".into(),
        0.0 => "0 %".into(),
        100.0 => "100 %".into(),
        p if p > 99.0 => format!("{:.2} %", (p * 100.0).floor() / 100.0),
        p if p < 1.0 => format!("{p:.2} %"),
        p => format!("{p:.1} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_kept_and_grouped() {
        assert_eq!(significant(267_680.5, 3), "268,000");
        assert_eq!(significant(9.996, 3), "10.0");
        assert_eq!(significant(-0.012_345, 2), "-0.012");
        assert_eq!(significant(1234.0, 3), "1,230");
        assert_eq!(significant(f64::INFINITY, 3), "unlimited");
        assert_eq!(significant(0.0, 3), "0");
        assert_eq!((plain(30_000.0).as_str(), plain(2.5).as_str()), ("30,000", "2.5"));
    }

    #[test]
    fn years_become_months_and_days() {
        assert_eq!(years(2600.0 * 12.4, 2600.0), "12 years");
        assert_eq!(years(380.0, 2600.0), "53 days");
        assert_eq!(years(1300.0, 2600.0), "6 months");
        assert_eq!(years(1e9, 2600.0), "over 200 years");
        assert_eq!(years(3e-5, 2600.0), "under a day");
    }

    #[test]
    fn a_share_below_one_never_reads_as_all() {
        assert_eq!(percent(0.999_999), "99.99 %");
        assert_eq!(percent(1.0), "100 %");
        assert_eq!(percent(0.034), "3.4 %");
    }
}
