//! Parts of a network that can be searched side by side.
//!
//! Offers, wants and limits belong to farms. So two searches that touch only loops within their own
//! farms can't get in each other's way, and what both find holds together. What may not enter: search.

use spareloop_domain::dice::Dice;

use super::standing::{Held, Key, Standing, arcs_of};
use crate::instance::Instance;

/// Cuts the farms into `parts` of about the same size, each grown from a farm along arcs, so that few
/// loops lie across; another cut each time.
pub(crate) fn cut(of: &Instance, parts: usize, dice: &mut Dice) -> Vec<usize> {
    let farms = of.room.len();
    let mut part = vec![parts - 1; farms];
    let mut taken = vec![false; farms];
    for at in 0..parts - 1 {
        let mut size = farms / parts;
        let mut waiting: Vec<u32> = Vec::new();
        while size > 0 {
            let farm = if waiting.is_empty() {
                dice.below(farms as u32)
            } else {
                // Nearly in the order in which they were reached: a compact part, with a ragged edge.
                let near = dice.below(waiting.len().min(4) as u32) as usize;
                waiting.remove(near)
            };
            if std::mem::replace(&mut taken[farm as usize], true) {
                continue;
            }
            part[farm as usize] = at;
            size -= 1;
            waiting.extend(of.out[farm as usize].iter().map(|&arc| of.arcs[arc as usize].to));
        }
    }
    part
}

/// The part that a loop lies in, if it lies in one.
pub(crate) fn part_of(of: &Instance, parts: &[usize], key: &Key) -> Option<usize> {
    let mut inside = arcs_of(key).iter().map(|&arc| parts[of.arcs[arc as usize].from as usize]);
    let first = inside.next()?;
    inside.all(|part| part == first).then_some(first)
}

/// What each part's search found, and between parts what stood before.
pub(crate) fn merged(
    of: &Instance,
    parts: &[usize],
    before: &Standing,
    found: &[&[Held]],
) -> Standing {
    let mut merged = Standing::none(of);
    for it in &before.held {
        if part_of(of, parts, &it.key).is_none() {
            merged.add(of, it.clone());
        }
    }
    for (at, held) in found.iter().enumerate() {
        for it in held.iter().filter(|it| part_of(of, parts, &it.key) == Some(at)) {
            merged.add(of, it.clone());
        }
    }
    merged
}
