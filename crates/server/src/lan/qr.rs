//! The picture that a device reads an address from (ISO/IEC 18004).

use qrcode::{Color, EcLevel, QrCode};

/// Light modules around the picture, as the standard asks.
const QUIET: usize = 4;

/// The dark modules of the picture of a text, row by row, with the quiet zone around them.
fn rows(text: &str) -> Vec<Vec<bool>> {
    // M restores a seventh of the picture, which is enough for a screen.
    let Ok(code) = QrCode::with_error_correction_level(text, EcLevel::M) else { return Vec::new() };
    let width = code.width();
    let colours = code.to_colors();
    let blank = || vec![false; width + 2 * QUIET];
    let mut rows: Vec<Vec<bool>> = (0..QUIET).map(|_| blank()).collect();
    for line in colours.chunks(width) {
        let mut row = vec![false; QUIET];
        row.extend(line.iter().map(|c| *c == Color::Dark));
        row.extend([false; QUIET]);
        rows.push(row);
    }
    rows.extend((0..QUIET).map(|_| blank()));
    rows
}

/// The picture as SVG, dark on light whatever the page looks like: readers expect it so.
pub(super) fn svg(text: &str, label: &str) -> String {
    let rows = rows(text);
    let size = rows.len();
    let mut path = String::new();
    for (y, row) in rows.iter().enumerate() {
        for (x, _) in row.iter().enumerate().filter(|(_, dark)| **dark) {
            path.push_str(&format!("M{x} {y}h1v1h-1z"));
        }
    }
    format!(
        "<svg class='qr' viewBox='0 0 {size} {size}' role='img' aria-label='{label}' shape-rendering='crispEdges'>\
         <rect width='{size}' height='{size}' fill='#fff'/><path d='{path}' fill='#000'/></svg>"
    )
}

/// Gives the picture of a text for a terminal with dark background, two modules a character; empty where the text is too long.
#[must_use]
pub fn in_text(text: &str) -> Vec<String> {
    let rows = rows(text);
    let light = |row: Option<&Vec<bool>>, x: usize| !row.and_then(|r| r.get(x)).copied().unwrap_or(false);
    rows.chunks(2)
        .map(|two| {
            let width = two.first().map_or(0, Vec::len);
            (0..width)
                .map(|x| match (light(two.first(), x), light(two.get(1), x)) {
                    (true, true) => '█',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (false, false) => ' ',
                })
                .collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_picture_has_its_three_finders_and_its_quiet_zone() {
        let rows = rows("https://192.168.4.7:4178/pair#0123456789abcdef0123456789abcdef");
        let size = rows.len();
        assert_eq!((size - 2 * QUIET - 21) % 4, 0, "a size of the standard");
        assert!(rows.iter().take(QUIET).flatten().all(|dark| !dark), "quiet above");
        for (x, y) in [(0, 0), (size - 2 * QUIET - 7, 0), (0, size - 2 * QUIET - 7)] {
            for n in 0..7 {
                assert!(rows[QUIET + y][QUIET + x + n] && rows[QUIET + y + n][QUIET + x], "finder at {x}, {y}");
            }
        }
        assert!(svg("https://a", "b").starts_with("<svg") && in_text("https://a").len() > 10);
    }
}
