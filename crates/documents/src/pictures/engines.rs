//! A chance as ten engines, some of them hatched (P8).

use workup::words::of_ten;
pub use workup::words::of_ten_in_words;

use super::drawing::{Drawing, Pen, THICK, THIN};

const ONE: f64 = 30.0;
const HEIGHT: f64 = 46.0;

/// Ten small cylinders, as many hatched as of ten engines like this one have it.
#[must_use]
pub fn ten_engines(p: f64) -> String {
    let hatched = of_ten(p);
    let words = of_ten_in_words(p);
    let mut d =
        Drawing::new(ONE * 10.0 + 4.0, HEIGHT, &words, &format!("Ten cylinders, {hatched} of them hatched: {words}."));
    for k in 0..10u8 {
        let x = 4.0 + f64::from(k) * ONE;
        d.group(if k < hatched { "engine-has-it" } else { "engine-free" });
        // A bore with its piston; the room above is what is hatched.
        d.rect((x, 3.0), (ONE - 8.0, 40.0), &Pen::outline(THICK));
        if k < hatched {
            d.hatch((x, 3.0), (ONE - 8.0, 40.0), 4.0);
        }
        d.rect((x + 2.0, 25.0), (ONE - 12.0, 10.0), &Pen::outline(THIN));
        d.end();
    }
    d.finish()
}
