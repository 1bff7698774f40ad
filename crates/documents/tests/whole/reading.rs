//! How old somebody must be to read the customer page: twelve at most.
//!
//! Formula: Automated Readability Index, 4.71 x letters and digits a word + 0.5 x words a sentence - 21.43, which is a school
//! grade \[published: E. A. Smith and R. J. Senter, Automated Readability Index, AMRL-TR-66-220, Wright-Patterson Air Force
//! Base, 1967\]. Grade 1 is read at the age of six \[common-practice\], so the age is the grade and five years.
//!
//! Headings, rows and items of a list are no sentences. A formula that takes each for one finds any list easy; so they are
//! counted by themselves, fifteen words for a sentence \[ours\], which leaves the length of their words to decide.

use crate::common::{NAMES, demo};
use crate::customer_page::page_of;

/// The age that a page may ask for \[target\].
const AGE: f64 = 12.0;
/// Words that stand for a sentence where there are none \[ours\].
const ROW: f64 = 15.0;
/// No sentence of our own is longer \[ours\].
const LONGEST: usize = 22;

/// Letters and digits, words, sentences.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Count {
    signs: f64,
    words: f64,
    sentences: f64,
}

impl Count {
    fn of(text: &str) -> Self {
        let words = text.split_whitespace().filter(|w| w.chars().any(char::is_alphanumeric));
        let (mut all, mut signs) = (0.0, 0.0);
        for word in words {
            all += 1.0;
            signs += word.chars().filter(|c| c.is_alphanumeric()).map(|_| 1.0).sum::<f64>();
        }
        Self { signs, words: all, sentences: 0.0 }
    }

    fn add(&mut self, other: Self) {
        self.signs += other.signs;
        self.words += other.words;
        self.sentences += other.sentences;
    }

    /// The age in years.
    fn age(self) -> f64 {
        4.71 * self.signs / self.words + 0.5 * self.words / self.sentences - 21.43 + 5.0
    }
}

/// Whether a block is written in sentences.
fn is_prose(block: &str) -> bool {
    block.ends_with(['.', '?', '!', '”'])
}

/// The sentences of a block: an end mark, and a blank or the end after it.
fn sentences(block: &str) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut ended = false;
    for c in block.chars() {
        if ended && c.is_whitespace() {
            out.push(String::new());
        } else if let Some(last) = out.last_mut() {
            last.push(c);
        }
        ended = matches!(c, '.' | '?' | '!');
    }
    out.retain(|s| s.chars().any(char::is_alphanumeric));
    out
}

/// The words of a file block by block, without its styles and pictures.
pub(crate) fn blocks(html: &str) -> Vec<String> {
    let (before, after) = html.split_once("<style>").unwrap();
    let text = format!("{before}{}", after.split_once("</style>").unwrap().1);
    let mut bare = String::new();
    for (n, part) in text.split("<svg").enumerate() {
        // A picture parts what stands before it from what stands behind.
        let words = if n == 0 { part } else { part.split_once("</svg>").unwrap().1 };
        bare.push_str(if n == 0 { "" } else { "<hr>" });
        bare.push_str(words);
    }
    let inline = ["b", "/b", "span", "/span"];
    let mut out = vec![String::new()];
    for part in bare.split('<') {
        let (tag, words) = part.split_once('>').unwrap_or(("", part));
        let name = tag.split([' ', '>']).next().unwrap_or_default();
        let tagged = tag.contains("class=\"tag\"");
        if !inline.contains(&name) || tagged {
            out.push(String::new());
        }
        out.last_mut().unwrap().push_str(words);
    }
    let plain = |b: &String| {
        let b = b.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&");
        b.trim().to_owned()
    };
    out.iter().map(plain).filter(|b| b.chars().any(char::is_alphanumeric)).collect()
}

/// Prose and rows of a page.
fn counted(blocks: &[String]) -> (Count, Count) {
    let (mut prose, mut rows) = (Count::default(), Count::default());
    for block in blocks {
        if is_prose(block) {
            for sentence in sentences(block) {
                prose.add(Count { sentences: 1.0, ..Count::of(&sentence) });
            }
        } else {
            let count = Count::of(block);
            rows.add(Count { sentences: count.words / ROW, ..count });
        }
    }
    (prose, rows)
}

// Counted by hand: 33 letters, 11 words, 2 sentences.
#[test]
fn the_formula_gives_what_is_worked_by_hand() {
    let text = "The head is bent. We can cut it flat for you.";
    let mut all = Count::default();
    for sentence in sentences(text) {
        all.add(Count { sentences: 1.0, ..Count::of(&sentence) });
    }
    assert_eq!((all.signs, all.words, all.sentences), (33.0, 11.0, 2.0));
    let grade: f64 = 4.71 * 33.0 / 11.0 + 0.5 * 11.0 / 2.0 - 21.43;
    assert!((all.age() - grade - 5.0).abs() < 1e-9);
    // A text that nobody would call easy is not found easy.
    let hard = "Notwithstanding contrary stipulations, reimbursement presupposes documentation substantiating \
                manufacturer-recommended preventative maintenance throughout the preceding operational period.";
    let count = Count { sentences: 1.0, ..Count::of(hard) };
    assert!(count.age() > 25.0, "{}", count.age());
}

#[test]
fn the_page_of_every_demo_job_is_read_at_twelve() {
    for name in NAMES {
        let (page, file) = page_of(&demo(name));
        let (prose, rows) = counted(&blocks(&file));
        assert!(prose.words > 150.0 && rows.words > 150.0, "{name}: {prose:?} {rows:?}");
        assert!(prose.age() <= AGE, "{name}: its prose is read at {:.1}", prose.age());
        assert!(rows.age() <= AGE, "{name}: its rows are read at {:.1}", rows.age());
        // The fixed prose by itself: what does not come out of this job.
        let own = [page.cause.as_str(), page.question.as_str()];
        let fixed: Vec<String> = blocks(&file)
            .into_iter()
            .filter(|b| is_prose(b) && !own.contains(&b.as_str()) && !page.told.iter().any(|t| b.contains(t.as_str())))
            .collect();
        let (fixed_count, _) = counted(&fixed);
        assert!(fixed_count.age() <= AGE, "{name}: {:.1}", fixed_count.age());
        for sentence in fixed.iter().flat_map(|b| sentences(b)) {
            let words = sentence.split_whitespace().count();
            assert!(words <= LONGEST, "{name}: {words} words: {sentence}");
        }
    }
}
