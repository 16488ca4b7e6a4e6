//! Counting tests from what the test programs print.

/// Passed and failed tests.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Tally {
    /// How many passed.
    pub passed: usize,
    /// How many failed.
    pub failed: usize,
}

impl Tally {
    /// Adds what a line of cargo test, cargo nextest, node --test or vitest sums up; other lines count nothing.
    pub fn read(&mut self, line: &str) {
        let line = line.trim().trim_start_matches(['\u{2139}', '#']).trim();
        if let Some(rest) = line.strip_prefix("test result:") {
            self.passed += before(rest, " passed");
            self.failed += before(rest, " failed");
        } else if line.starts_with("Summary [") {
            self.passed += before(line, " passed");
            self.failed += before(line, " failed") + before(line, " timed out");
        } else if let Some(rest) = line.strip_prefix("Tests ") {
            self.passed += before(rest, " passed");
            self.failed += before(rest, " failed");
        } else if let Some(count) = line.strip_prefix("pass ") {
            self.passed += count.trim().parse().unwrap_or(0);
        } else if let Some(count) = line.strip_prefix("fail ") {
            self.failed += count.trim().parse().unwrap_or(0);
        } else if let Some(count) = line.strip_prefix("cancelled ") {
            self.failed += count.trim().parse().unwrap_or(0);
        }
    }

    /// A program that failed without a failed test (it did not build, or broke off) counts as one; so does a program
    /// that succeeded without running any: a check that cannot fail is none.
    pub fn close(mut self, succeeded: bool) -> Tally {
        if self.failed == 0 && (!succeeded || self.passed == 0) {
            self.failed = 1;
        }
        self
    }

    /// Both together.
    pub fn and(self, other: Tally) -> Tally {
        Tally { passed: self.passed + other.passed, failed: self.failed + other.failed }
    }
}

/// The number that stands right before a word.
fn before(text: &str, word: &str) -> usize {
    let Some(end) = text.find(word) else { return 0 };
    let digits = text[..end].rsplit(|c: char| !c.is_ascii_digit()).next();
    digits.and_then(|digits| digits.parse().ok()).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count(text: &str) -> (usize, usize) {
        let mut tally = Tally::default();
        text.lines().for_each(|line| tally.read(line));
        (tally.passed, tally.failed)
    }

    #[test]
    fn every_runner_is_understood() {
        let cargo =
            "running 3 tests\ntest result: FAILED. 2 passed; 1 failed; 0 ignored; 0 measured; 0 filtered out";
        assert_eq!(count(cargo), (2, 1));
        assert_eq!(
            count("     Summary [   4.2s] 13 tests run: 12 passed (1 slow), 1 failed, 2 skipped"),
            (12, 1)
        );
        assert_eq!(count("\u{2139} tests 5\n\u{2139} pass 4\n\u{2139} fail 1\n\u{2139} cancelled 0"), (4, 1));
        assert_eq!(count("# pass 4\n# fail 0\n# cancelled 1"), (4, 1));
        assert_eq!(
            count(" Test Files  1 failed | 2 passed (3)\n      Tests  1 failed | 11 passed (12)"),
            (11, 1)
        );
        assert_eq!(count("the test result: unclear"), (0, 0));
    }

    #[test]
    fn a_run_without_tests_or_with_a_broken_build_counts_as_failed() {
        assert_eq!(Tally { passed: 3, failed: 0 }.close(true), Tally { passed: 3, failed: 0 });
        assert_eq!(Tally { passed: 3, failed: 0 }.close(false), Tally { passed: 3, failed: 1 });
        assert_eq!(Tally::default().close(true), Tally { passed: 0, failed: 1 });
        assert_eq!(Tally { passed: 3, failed: 2 }.close(false), Tally { passed: 3, failed: 2 });
    }
}
