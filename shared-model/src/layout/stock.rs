//! What the goods and the shop's rules allow a breadth to be.

use crate::job::{Goods, Match, Rules};
use crate::length::{Length, Units};
use crate::problem::{Place, Problem, ProblemKind};

/// Goods that can be laid.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stock<'a> {
    pub goods: &'a Goods,
    pub rules: &'a Rules,
    pub units: Units,
    /// What a breadth between two seams covers: the roll's width less both trims, in whole repeats of the width.
    pub usable: Length,
    /// What is left of the roll's width beside that.
    pub slack: Length,
    /// Pattern repeat along the roll, when it must match.
    pub repeat: Option<Length>,
    /// Pattern repeat across the roll, when it must match.
    pub repeat_across: Option<Length>,
}

impl<'a> Stock<'a> {
    /// `None` when nothing can be laid with the goods as described; the problems say why, or warn.
    pub fn of(goods: &'a Goods, rules: &'a Rules, units: Units) -> (Option<Self>, Vec<Problem>) {
        let problem = |text: String| Problem::new(ProblemKind::BadGoods, Place::Goods(goods.id), text);
        if let Some(fault) = fault(goods, rules, units) {
            return (None, vec![problem(format!("{}: {fault}", title(goods)))]);
        }
        let matched = goods.pattern != Match::None;
        let repeat = Some(goods.repeat_length).filter(|it| matched && *it > Length::ZERO);
        let repeat_across = Some(goods.repeat_width).filter(|it| matched && *it > Length::ZERO);
        let between = goods.roll_width - rules.seam_trim * 2;
        let whole = |it: Length| repeat_across.map_or(it, |repeat| repeat * (it.0 / repeat.0));
        let usable = whole(between);
        let stock = Self { goods, rules, units, usable, slack: between - usable, repeat, repeat_across };

        let mut problems = Vec::new();
        if repeat_across.is_some() && usable < whole(goods.roll_width) {
            let show = |it: Length| it.show(units.style());
            problems.push(problem(format!(
                "{}: the width holds {} of pattern, but trimming {} off both seam edges leaves whole repeats for {} only. \
                 If the selvage lies beyond the pattern, enter the whole width and trim less.",
                title(goods), show(whole(goods.roll_width)), show(rules.seam_trim), show(usable)
            )));
        }
        (Some(stock), problems)
    }

    /// What carpet needs around a piece's floor, whether a wall or a seam is there.
    pub fn margin(&self) -> Length {
        self.rules.wall_allowance.max(self.rules.seam_trim)
    }

    /// A cut rounded up to the shop's step, but no wider than the roll.
    pub fn cut_width(&self, width: Length) -> Length {
        width.round_up_to(self.rules.cut_step).min(self.goods.roll_width.max(width))
    }

    pub fn cut_length(&self, length: Length) -> Length {
        length.round_up_to(self.rules.cut_step)
    }
}

fn title(goods: &Goods) -> &str {
    match goods.name.trim() {
        "" => "A carpet without a name",
        name => name,
    }
}

fn fault(goods: &Goods, rules: &Rules, units: Units) -> Option<String> {
    let show = |it: Length| it.show(units.style());
    let possible = |it: Length| (Length::ZERO..=Length::MOST).contains(&it);
    let sizes =
        [goods.roll_width, goods.repeat_length, goods.repeat_width, goods.increment, goods.minimum, goods.longest];
    let allowances = [rules.seam_trim, rules.wall_allowance, rules.cut_step, rules.least_piece];
    let stairs = [rules.stair_pad, rules.stair_tuck, rules.stair_overall];
    if !sizes.into_iter().all(possible) {
        return Some("a size of it is impossible. Enter it again.".to_owned());
    }
    if !allowances.into_iter().chain(stairs).all(possible) {
        return Some("the shop's trims and allowances are impossible. Enter them again.".to_owned());
    }
    let lost = rules.seam_trim.max(rules.wall_allowance) * 2;
    if goods.roll_width <= lost {
        return Some(format!(
            "the roll is {} wide, but trims and allowances take up to {} of it. Enter the roll's width.",
            show(goods.roll_width),
            show(lost)
        ));
    }
    if goods.pattern != Match::None && goods.repeat_length == Length::ZERO {
        return Some("the pattern is to match, but its repeat along the roll is not entered. Enter it.".to_owned());
    }
    if let Match::Drop { denominator: 0, .. } = goods.pattern {
        return Some("the pattern's drop is no fraction of the repeat. Enter it, for a half-drop as 1/2.".to_owned());
    }
    let usable = goods.roll_width - rules.seam_trim * 2;
    if goods.pattern != Match::None && goods.repeat_width > usable {
        return Some(format!(
            "the pattern repeats every {} across, but only {} of the width is left after trimming.",
            show(goods.repeat_width),
            show(usable)
        ));
    }
    None
}
