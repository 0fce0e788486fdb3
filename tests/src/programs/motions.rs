//! Ways into the cut and out of it, lines, arcs.

use super::{Language, Part, Writer};

impl Writer<'_> {
    /// G90, said only when it changes something.
    pub(super) fn absolute(&mut self) {
        if self.incremental {
            self.line("G90");
        }
        self.incremental = false;
    }

    /// Into the clear, moving every axis far enough both ways that its seat is known, then down.
    pub(super) fn enter(&mut self) {
        self.absolute();
        let (high, wide) = (self.scaled(30_000), self.scaled(40_000));
        for (z, xy) in [(high, 0), (high + self.scaled(2_000), wide), (self.scaled(5_000), 0)] {
            let (up, x, y) = (self.word(2, z), self.word(0, xy), self.word(1, xy));
            self.rapid(&up);
            self.rapid(&format!("{x} {y}"));
            self.at = [xy, xy, z];
        }
        self.plunge();
    }

    /// Straight to a place above the work and down: seats that were unknown may still be so.
    pub(super) fn enter_in_a_hurry(&mut self) {
        self.absolute();
        let high = self.scaled(5_000);
        let to = [self.place(0), self.place(1), high];
        let up = self.word(2, high);
        self.rapid(&up);
        let (x, y) = (self.word(0, to[0]), self.word(1, to[1]));
        self.rapid(&format!("{x} {y}"));
        self.at = to;
        self.plunge();
    }

    /// Goes to a place on two axes: where the other one is, the program counts on.
    pub(super) fn tell_all_but(&mut self, untold: usize) {
        self.absolute();
        let to = [self.place(0) / 4, self.place(1) / 4, self.scaled(5_000)];
        let told = [0, 1, 2].into_iter().filter(|axis| *axis != untold);
        let words: Vec<String> = told.clone().map(|axis| self.word(axis, to[axis])).collect();
        self.rapid(&words.join(" "));
        told.for_each(|axis| self.at[axis] = to[axis]);
        self.untold = Some(untold);
        if self.has(Part::Arcs) {
            self.circle();
        }
    }

    /// The first cut goes sideways from where the last rapid ended: nothing plunges.
    pub(super) fn begin_at_the_height_of_a_rapid(&mut self) {
        let to = [self.place(0), self.place(1), self.scaled(5_000)];
        let words = [0, 1, 2].map(|axis| self.word(axis, to[axis]));
        self.rapid(&words.join(" "));
        self.at = to;
        if self.dice.once_in(2) {
            let low = 1_000 + self.dice.below(2_000) as i64;
            let low = self.scaled(low);
            let z = self.word(2, low);
            self.rapid(&z);
            self.at[2] = low;
        }
        if self.has(Part::Arcs) && self.dice.once_in(2) {
            self.circle();
        }
    }

    /// The first motion of all cuts: no place where an axis could be seated.
    pub(super) fn begin_without_a_rapid(&mut self) {
        let to = [self.place(0) / 4, self.place(1) / 4, -self.scaled(1_000)];
        let mut chosen = if self.language == Language::Whole { 7 } else { 1 + self.dice.below(7) };
        while chosen != 0 {
            // In one block, or axis after axis: what an axis reaches first is told in its own block.
            let now = if self.dice.once_in(2) { chosen } else { 1 + self.dice.below(7) };
            let words: Vec<String> =
                (0..3).filter(|axis| now & (1 << axis) != 0).map(|axis| self.word(axis, to[axis])).collect();
            self.motion("", "G1", &words.join(" "));
            (0..3).filter(|axis| now & (1 << axis) != 0).for_each(|axis| self.at[axis] = to[axis]);
            chosen &= !now;
        }
    }

    pub(super) fn plunge(&mut self) {
        let deep = self.dice.below(6) as i64;
        let depth = -self.scaled(1_000 + 500 * deep);
        let z = self.word(2, depth);
        self.at[2] = depth;
        self.motion("", "G1", &z);
    }

    pub(super) fn lift(&mut self) {
        let high = self.scaled(5_000);
        let z = self.word(2, high);
        self.at[2] = high;
        self.rapid(&z);
        let to = [self.place(0), self.place(1)];
        let (x, y) = (self.word(0, to[0]), self.word(1, to[1]));
        (self.at[0], self.at[1]) = (to[0], to[1]);
        self.rapid(&format!("{x} {y}"));
        self.plunge();
    }

    pub(super) fn place(&mut self, _axis: usize) -> i64 {
        let range = self.scaled(60_000);
        self.dice.below(2 * range as u64) as i64 - range
    }

    /// A step from where an axis is: mostly small, sometimes a few thousandths.
    pub(super) fn step(&mut self) -> i64 {
        let most = self.dice.one_of(&[20, 300, 3_000, 15_000]);
        let most = self.scaled(most).max(2);
        self.dice.below(2 * most as u64 + 1) as i64 - most
    }

    /// Words of a cut along some axes; the place is reached.
    pub(super) fn cut_words(&mut self) -> String {
        let mut words: Vec<String> = Vec::new();
        let chosen = 1 + self.dice.below(7);
        let mut to = self.at;
        for (axis, place) in to.iter_mut().enumerate() {
            if chosen & (1 << axis) != 0 {
                let step = self.step();
                *place += if axis == 2 { step / 3 } else { step };
                if axis == 2 {
                    *place = (*place).clamp(-self.scaled(20_000), -self.scaled(100));
                }
                words.push(self.word(axis, *place));
            }
        }
        if self.language == Language::Whole && self.dice.once_in(6) {
            words.reverse();
        }
        self.at = to;
        words.join(" ")
    }

    pub(super) fn cut(&mut self) {
        let words = self.cut_words();
        self.motion("", "G1", &words);
    }

    fn turn(&mut self) -> &'static str {
        self.dice.one_of(&["G2", "G3"])
    }

    /// A centre coordinate: from the start, or as a place.
    fn centre(&mut self, letter: &str, axis: usize, offset: i64) -> String {
        let said = if self.absolute_centres { self.at[axis] + offset } else { offset };
        format!("{letter}{}", self.decimal(said))
    }

    /// A quarter, half or three-quarter circle in a plane: exact in thousandths.
    fn round(&mut self, first: usize, second: usize, letters: [&str; 2], extra: Option<usize>) {
        let size = self.dice.below(9_000) as i64;
        let radius = self.scaled(200 + size).max(4);
        let turn = self.turn();
        // From the centre the start lies at one of the four quadrants.
        let quadrants = [(1, 0), (0, 1), (-1, 0), (0, -1)];
        let start = self.dice.below(4) as usize;
        let quarters = 1 + self.dice.below(3) as usize;
        let end = if turn == "G3" { (start + quarters) % 4 } else { (start + 4 - quarters) % 4 };
        let centre =
            [self.at[first] - quadrants[start].0 * radius, self.at[second] - quadrants[start].1 * radius];
        let mut to = self.at;
        to[first] = centre[0] + quadrants[end].0 * radius;
        to[second] = centre[1] + quadrants[end].1 * radius;
        if let Some(third) = extra {
            to[third] += self.step() / 2;
        }
        let mut words = vec![self.word(first, to[first]), self.word(second, to[second])];
        if let Some(third) = extra {
            words.push(self.word(third, to[third]));
        }
        if self.dice.once_in(3) {
            // Half a circle whose radius a post has cut short: the chord counts as its diameter.
            let mut dice = self.dice.clone();
            let short = self.language == Language::Whole && quarters == 2 && dice.once_in(3);
            let radius = if short { radius - dice.below(radius as u64 / 110 + 1) as i64 } else { radius };
            let radius = self.decimal(if quarters == 3 { -radius } else { radius });
            words.push(format!("R{radius}"));
        } else {
            // A centre that a post has rounded: the arc opens or closes.
            let mut dice = self.dice.clone();
            let coarse = self.language == Language::Whole && dice.once_in(6);
            let most = self.scaled(100).min(radius / 10);
            let off = if coarse { dice.below(2 * most as u64 + 1) as i64 - most } else { 0 };
            words.push(self.centre(letters[0], first, off - quadrants[start].0 * radius));
            words.push(self.centre(letters[1], second, -quadrants[start].1 * radius));
        }
        self.at = to;
        self.motion("", turn, &words.join(" "));
    }

    pub(super) fn arc(&mut self) {
        self.round(0, 1, ["I", "J"], None);
    }

    pub(super) fn helix_or_other_plane(&mut self) {
        let most = if self.has(Part::Planes) { 5 } else { 1 };
        let extra = self.dice.once_in(2);
        match self.dice.below(most) {
            1 | 2 => {
                self.line("G18");
                self.round(2, 0, ["K", "I"], extra.then_some(1));
                self.line("G17");
            }
            3 | 4 => {
                self.line("G19");
                self.round(1, 2, ["J", "K"], extra.then_some(0));
                self.line("G17");
            }
            _ => self.round(0, 1, ["I", "J"], Some(2)),
        }
    }

    /// A full circle, flat or as a turn of a helix, or of several turns.
    pub(super) fn circle(&mut self) {
        let size = self.dice.below(5_000) as i64;
        let radius = self.scaled(500 + size);
        let turn = self.turn();
        let axis = self.dice.below(2) as usize;
        let mut words = vec![];
        if self.dice.once_in(2) {
            words.push(self.word(0, self.at[0]));
            if self.dice.once_in(2) {
                words.push(self.word(1, self.at[1]));
            }
        }
        words.push(self.centre(
            ["I", "J"][axis],
            axis,
            if self.dice.clone().once_in(2) { radius } else { -radius },
        ));
        if self.absolute_centres {
            words.push(self.centre(["J", "I"][axis], 1 - axis, 0));
        }
        if self.dice.once_in(3) {
            let down = self.at[2] - self.scaled(self.dice.clone().below(1_500) as i64);
            words.push(self.word(2, down));
            self.at[2] = down;
            if self.has(Part::Turns) && self.dice.once_in(2) {
                let turns = 2 + self.dice.below(3);
                words.push(format!("P{turns}"));
            }
        }
        self.motion("", turn, &words.join(" "));
    }
}
