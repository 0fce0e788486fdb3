//! Drilling cycles.

use super::{Feed, Part, Writer};

impl Writer<'_> {
    /// A series of holes from above the work, and down into the cut again.
    pub(super) fn cycle(&mut self) {
        self.clear_of_the_work();
        let plane = if self.has(Part::CyclesInPlanes) { self.dice.below(4) } else { 0 };
        let (axes, plane) = match plane {
            1 => ([2, 0, 1], "G18 "),
            2 => ([1, 2, 0], "G19 "),
            _ => ([0, 1, 2], ""),
        };
        let repeated = self.has(Part::RepeatedCycles) && self.dice.once_in(4);
        let incremental = self.has(Part::IncrementalCycles) && (repeated || self.dice.once_in(3));
        self.incremental = incremental;
        // Cuts shorter than the lost motion: not where a block drills several holes, between which nothing can be inserted,
        // nor where it is not known at which height a hole begins.
        let brief = self.dice.once_in(4) && !repeated && self.untold != Some(axes[2]);
        let back = self.dice.one_of(&["G98", "G99"]);
        let holes = 1 + self.dice.below(4);
        // Pecks by Q or by I, J and K; repeats by L, or by K where that is not one of those.
        let by_centre = self.dice.once_in(4);
        let mut count = "L";
        for hole in 0..holes {
            let mut words: Vec<String> = Vec::new();
            let first = hole == 0;
            if first {
                words.push(format!("{plane}{}{back}", if incremental { "G91 " } else { "G90 " }));
            } else if !self.incremental && self.dice.once_in(5) {
                words.push(self.dice.one_of(&["G98", "G99"]).to_owned());
            }
            // Depth and R plane mean something else then.
            let other = !first && !brief && self.has(Part::IncrementalCycles) && self.dice.once_in(9);
            if other {
                self.incremental = !self.incremental;
                words.push(if self.incremental { "G91" } else { "G90" }.to_owned());
            }
            // What stays as it was said is a difference then, or none any more.
            let floor = |r| if self.incremental { 0 } else { r };
            let drills_on = self.strokes.is_some_and(|(r, depth)| depth + self.scaled(1_000) < floor(r));
            let kept = other && drills_on && self.dice.once_in(2);
            if first || (other && !kept) || self.dice.once_in(5) {
                let cycle = self.drill(axes, self.incremental, by_centre, brief);
                let other = ["G73", "G76", "G83", "G87"].iter().any(|code| cycle.starts_with(code));
                count = if other { "L" } else { self.dice.one_of(&["L", "K"]) };
                words.push(cycle);
            }
            words.push(self.hole(axes, (repeated && self.incremental).then_some(count)));
            self.line(&words.join(" "));
        }
        let incremental = incremental || self.incremental;
        self.end_of_cycle();
        if axes[2] != 2 {
            self.line("G17");
        }
        self.incremental = false;
        self.line("G90");
        self.clear_of_the_work();
        if axes[2] != 2 || incremental {
            let to = [self.place(0), self.place(1)];
            let (x, y) = (self.word(0, to[0]), self.word(1, to[1]));
            (self.at[0], self.at[1]) = (to[0], to[1]);
            self.rapid(&format!("{x} {y}"));
        }
        self.plunge();
    }

    /// G80, behind which the motion before the cycle is in force again on many controls: used in its block, in the next, or said anew.
    fn end_of_cycle(&mut self) {
        match self.dice.below(4) {
            0 => {
                let high = self.scaled(6_000);
                self.incremental = false;
                let z = self.word(2, high);
                self.line(&format!("G80 G90 {z}"));
                (self.motion, self.at[2]) = ("G0", high);
            }
            stays => {
                self.line("G80");
                self.motion = if stays == 1 { "G0" } else { "" };
            }
        }
    }

    /// Up to where it is clear, absolute, feed per minute.
    fn clear_of_the_work(&mut self) {
        self.absolute();
        if self.feed == Feed::InverseTime {
            self.line("G94 F200");
            self.feed = Feed::PerMinute;
        }
        let high = self.scaled(5_000);
        let z = self.word(2, high);
        self.at[2] = high;
        self.rapid(&z);
    }

    /// The cycle's own words: code, depth, R, and what else it needs.
    fn drill(&mut self, axes: [usize; 3], incremental: bool, by_centre: bool, brief: bool) -> String {
        let mut codes = vec![
            "G81", "G82", "G83", "G73", "G74", "G76", "G84", "G84.2", "G184", "G85", "G86", "G88", "G89",
        ];
        if self.has(Part::BackBoring) {
            codes.push("G87");
        }
        let code = self.dice.one_of(&codes);
        let level = self.at[axes[2]];
        // The R plane may lie above the level that the cycle began at.
        let over = match (brief, incremental) {
            (true, true) => self.dice.one_of(&[-3_000, -60, 0]),
            (true, false) => self.dice.one_of(&[-3_000, -60, 0, 60, 1_500]),
            (false, _) => self.dice.one_of(&[-3_000, -2_000, -4_500, 1_500, 0]),
        };
        let retract = level + self.scaled(over);
        let shallow = brief && axes[2] == 2 && self.dice.once_in(4);
        let deep = if shallow { 120 } else { 2_000 + self.dice.below(4_000) as i64 };
        let bottom = retract - self.scaled(deep);
        let letter = ["X", "Y", "Z"][axes[2]];
        let (r, depth) = if incremental { (retract - level, bottom - retract) } else { (retract, bottom) };
        self.strokes = Some((r, depth)).filter(|_| code != "G87");
        let (r, depth) = (self.decimal(r), self.decimal(depth));
        let extra = match code {
            "G83" | "G73" if by_centre => {
                let sizes = if brief { [80, 10, 50] } else { [1_500, 250, 750] };
                let pecks = sizes.map(|peck| self.scaled(peck));
                let [first, less, least] = pecks.map(|peck| self.decimal(peck));
                format!(" I{first} J{less} K{least}")
            }
            "G83" | "G73" => {
                let peck = self.scaled(if brief { 60 } else { 1_250 });
                format!(" Q{}", self.decimal(peck))
            }
            "G82" | "G86" | "G88" | "G89" => " P0.2".to_owned(),
            "G76" if by_centre => {
                let side = self.scaled(300);
                format!(" {}{}", ["I", "J", "K"][axes[0]], self.decimal(side))
            }
            "G76" => {
                let side = self.scaled(300);
                format!(" Q{} P0.1", self.decimal(side))
            }
            "G87" => {
                let side = self.scaled(800);
                // Upward as a rule; nothing keeps a program from boring further down.
                let up = self.dice.one_of(&[700, 700, 700, -500]);
                let top = if incremental { self.scaled(up) } else { bottom + self.scaled(up) };
                let [first, second, third] = axes.map(|axis| ["I", "J", "K"][axis]);
                let (side, top) = (self.decimal(side), self.decimal(top));
                format!(" {first}{side} {second}0 {third}{top}")
            }
            _ => String::new(),
        };
        format!("{code} {letter}{depth} R{r}{extra} F120")
    }

    /// Where the next hole is, or a row of them with the letter that counts them.
    fn hole(&mut self, axes: [usize; 3], count: Option<&str>) -> String {
        let mut words = Vec::new();
        let repeats = if count.is_some() { 1 + self.dice.below(4) } else { 1 };
        let only = self.dice.below(4);
        for (index, axis) in axes.into_iter().take(2).enumerate() {
            if only == index as u64 {
                continue;
            }
            let to = if self.incremental { self.at[axis] + self.step() / 2 } else { self.place(axis) / 2 };
            words.push(self.word(axis, to));
            self.at[axis] += (to - self.at[axis]) * repeats as i64;
        }
        if let (Some(count), true) = (count, repeats > 1) {
            words.push(format!("{count}{repeats}"));
        }
        words.join(" ")
    }
}
