//! Characters that steer a terminal or a line of text instead of being seen.

/// True for control characters and for those that turn the reading direction or break a line without being one.
#[must_use]
pub fn is_unseen(c: char) -> bool {
    c.is_control() || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// The text with such characters written out, those of `kept` apart.
#[must_use]
pub fn seen(text: &str, kept: &[char]) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if is_unseen(c) && !kept.contains(&c) {
            // JSON writes them so as well.
            out.push_str(&format!("\\u{:04x}", u32::from(c)));
        } else {
            out.push(c);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_is_written_out_and_what_is_read_stays() {
        assert_eq!(seen("a\u{1b}[2J\u{202e}b\n°≥ü", &['\n']), "a\\u001b[2J\\u202eb\n°≥ü");
        assert!(!"Größe ±0.5 µm – 20 °C".chars().any(is_unseen));
    }
}
