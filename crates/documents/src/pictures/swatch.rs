//! What a residue looks like: a patch of its colours with the grain of its texture.
//!
//! Colour alone tells nothing to who cannot see it and on a print in grey, so the texture is drawn as a grain of its own, and
//! both stand in words beside it.

use super::drawing::{Drawing, INK, PAPER, Pen, THICK, count};

const WIDTH: f64 = 132.0;
const HEIGHT: f64 = 88.0;
/// Most colours that one patch shows side by side \[ours\].
const COLOURS: usize = 3;

/// Colours by the words of the trade; what is meant by each is a matter of taste \[ours\].
const BY_WORD: &[(&str, &str)] = &[
    ("magenta", "#B0307A"),
    ("violet", "#6C4FA3"),
    ("purple", "#6B3F86"),
    ("yellow-green", "#B8CC3A"),
    ("green-brown", "#76703A"),
    ("blue-green", "#2E8C86"),
    ("red-orange", "#C8502A"),
    ("orange-brown", "#A65A28"),
    ("brown-red", "#8A3A2A"),
    ("blue", "#2A5CA8"),
    ("green", "#4E9A4A"),
    ("yellow", "#D8C440"),
    ("straw", "#D9C27A"),
    ("orange", "#D9752A"),
    ("red", "#B8322E"),
    ("copper", "#B06A3C"),
    ("bronze", "#94713A"),
    ("amber", "#B87A24"),
    ("tan", "#C2A579"),
    ("cream", "#EFE6C8"),
    ("brown", "#6E4A2C"),
    ("brownish", "#8C7458"),
    ("silver-grey", "#A9AEB2"),
    ("silver", "#B9BEC2"),
    ("grey", "#8A8F93"),
    ("white", "#F4F4F0"),
    ("bare", "#C9CDD0"),
    ("clear", "#E4E8EA"),
    ("glitter", "#D0CBB8"),
    ("black", "#1E1E1E"),
];

/// How the surface of a residue is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Grain {
    Specks,
    Flakes,
    Streaks,
    Drops,
    Crust,
    Strings,
    Film,
}

/// Grains by the words of a texture; the first that occurs counts.
const GRAINS: &[(&str, Grain)] = &[
    ("flake", Grain::Flakes),
    ("flaky", Grain::Flakes),
    ("fibre", Grain::Strings),
    ("string", Grain::Strings),
    ("beads", Grain::Strings),
    ("streak", Grain::Streaks),
    ("trail", Grain::Streaks),
    ("smear", Grain::Streaks),
    ("hone marks", Grain::Streaks),
    ("powder", Grain::Specks),
    ("dust", Grain::Specks),
    ("speck", Grain::Specks),
    ("gritty", Grain::Specks),
    ("chalk", Grain::Specks),
    ("soft dry", Grain::Specks),
    ("wet", Grain::Drops),
    ("oily", Grain::Drops),
    ("greasy", Grain::Drops),
    ("sticky", Grain::Drops),
    ("mud", Grain::Drops),
    ("emulsion", Grain::Drops),
    ("paste", Grain::Drops),
    ("crust", Grain::Crust),
    ("scale", Grain::Crust),
    ("lumps", Grain::Crust),
    ("hard", Grain::Crust),
    ("glaze", Grain::Crust),
];

/// The colours named, in the sequence of their words; a word with a hyphen is one colour.
fn colours(words: &str) -> Vec<&'static str> {
    let words = words.to_lowercase();
    let mut out: Vec<&'static str> = Vec::new();
    for word in words.split(|c: char| !c.is_alphanumeric() && c != '-') {
        let colour = BY_WORD.iter().find(|(named, _)| *named == word).map(|(_, colour)| *colour);
        if let Some(colour) = colour.filter(|colour| !out.contains(colour))
            && out.len() < COLOURS
        {
            out.push(colour);
        }
    }
    out
}

/// A patch of a residue as it looks, by the words for its colour and its texture.
#[must_use]
pub fn residue_swatch(colour: &str, texture: &str) -> String {
    let mut d = Drawing::new(WIDTH, HEIGHT, &format!("{colour}, {texture}"), &format!("A patch: {colour}; {texture}."));
    let all = colours(colour);
    let own = if all.is_empty() { vec!["#8A8F93"] } else { all };
    let wide = WIDTH / count(own.len());
    for (n, fill) in own.iter().enumerate() {
        d.rect(
            (count(n) * wide, 0.0),
            (wide, HEIGHT),
            &Pen { class: "wm-residue", stroke: "none", fill, width: 0.0, dashes: "" },
        );
    }
    let texture = texture.to_lowercase();
    let grain = GRAINS.iter().find(|(word, _)| texture.contains(word)).map_or(Grain::Film, |(_, grain)| *grain);
    let place = |n: usize| {
        // Spread evenly and in no rows: the steps are powers of one over the root of x^3 = x + 1.
        let n = count(n) + 0.5;
        ((n * 0.754_877_666).fract() * (WIDTH - 16.0) + 8.0, (n * 0.569_840_291).fract() * (HEIGHT - 16.0) + 8.0)
    };
    let over = |fill: &'static str| Pen { class: "wm-residue", stroke: INK, fill, width: 0.75, dashes: "" };
    let stroke =
        |colour: &'static str, width: f64| Pen { class: "wm-residue", stroke: colour, fill: "none", width, dashes: "" };
    match grain {
        Grain::Specks => (0..60).for_each(|n| d.circle(place(n), 1.6, &over(PAPER))),
        Grain::Flakes => {
            for n in 0..16 {
                let (x, y) = place(n);
                d.polygon(&[(x - 6.0, y), (x - 1.0, y - 4.0), (x + 6.0, y - 1.0), (x + 2.0, y + 5.0)], &over(PAPER));
            }
        }
        Grain::Streaks => {
            for n in 0..18 {
                let (x, y) = place(n);
                let half = 10.0 + count(n % 4) * 4.0;
                let (from, to) = ((x, (y - half).max(3.0)), (x, (y + half).min(HEIGHT - 3.0)));
                d.line(from, to, &stroke(INK, 3.0));
                d.line(from, to, &stroke(PAPER, 1.5));
            }
        }
        Grain::Drops => {
            for n in 0..14 {
                let (x, y) = place(n);
                let r = 3.0 + count(n % 3) * 1.6;
                d.ellipse((x, y), (r * 1.5, r), &stroke(INK, 2.5));
                d.ellipse((x, y), (r * 1.5, r), &stroke(PAPER, 1.2));
            }
        }
        Grain::Crust => {
            for n in 0..12 {
                let (x, y) = place(n);
                let (a, b) = (5.0 + count(n % 3) * 2.0, 4.0 + count(n % 2) * 3.0);
                let points = [
                    (x - a, y - 1.0),
                    (x - 1.0, y - b),
                    (x + a, y - 2.0),
                    (x + a - 2.0, y + b),
                    (x - a + 2.0, y + b - 1.0),
                ];
                d.polygon(&points, &stroke(INK, 2.5));
                d.polygon(&points, &stroke(PAPER, 1.2));
            }
        }
        Grain::Strings => {
            for n in 0..10 {
                let (x, y) = place(n);
                let far = |z: f64| format!("{z:.1}");
                let path = format!(
                    "M{} {}q7 -9 14 0t14 0",
                    far((x - 14.0).clamp(2.0, WIDTH - 32.0)),
                    far(y.clamp(10.0, HEIGHT - 10.0))
                );
                d.path(&path, &stroke(INK, 3.0));
                d.path(&path, &stroke(PAPER, 1.5));
            }
        }
        Grain::Film => {
            // A sharp edge across the patch, bare metal beside it.
            let bare = Pen { class: "wm-residue", stroke: INK, fill: "#D5D8DA", width: 0.75, dashes: "" };
            d.polygon(
                &[
                    (0.0, HEIGHT),
                    (0.0, HEIGHT * 0.72),
                    (WIDTH * 0.45, HEIGHT * 0.84),
                    (WIDTH, HEIGHT * 0.66),
                    (WIDTH, HEIGHT),
                ],
                &bare,
            );
        }
    }
    d.rect(
        (1.0, 1.0),
        (WIDTH - 2.0, HEIGHT - 2.0),
        &Pen { class: "wm-line", stroke: INK, fill: "none", width: THICK, dashes: "" },
    );
    d.finish()
}

#[cfg(test)]
mod tests {
    use super::colours;

    #[test]
    fn colours_stand_in_the_sequence_of_their_words() {
        assert_eq!(colours("straw to purple to blue"), ["#D9C27A", "#6B3F86", "#2A5CA8"]);
        assert_eq!(colours("red-orange"), ["#C8502A"]);
        assert_eq!(colours("green to yellow-green"), ["#4E9A4A", "#B8CC3A"]);
        assert_eq!(colours("glows yellow-green under ultraviolet"), ["#B8CC3A"]);
        assert!(colours("nothing of the kind").is_empty());
    }
}
