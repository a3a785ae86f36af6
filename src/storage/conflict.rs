//! Copies that sync programs (and this program, when a file changed under it) leave beside a
//! coding: telling them by their names, and merging them mark by mark.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::coding_file;
use crate::model::samples::Numbers;
use crate::model::{BehaviourId, Coding, Mark, MarkId};

/// The coding a file is a copy of, by its name: `<person>.<n>`, something more, `.json`.
/// Which something differs from program to program and does not matter.
#[must_use]
pub fn original_of(path: &Path) -> Option<PathBuf> {
    let name = path.file_name()?.to_str()?;
    let middle = name.strip_suffix(".json")?;
    if name.starts_with('.') {
        return None;
    }
    // The first `.<digits>` that is followed by something else.
    let mut from = 0;
    while let Some(dot) = middle.get(from..)?.find('.').map(|at| at + from) {
        let after = middle.get(dot + 1..)?;
        let digits = after.bytes().take_while(u8::is_ascii_digit).count();
        let rest = after.get(digits..)?;
        let is_letter = rest.starts_with(|next: char| next.is_alphanumeric());
        if digits > 0 && dot > 0 && !is_letter {
            let original = format!("{}.coding.json", middle.get(..dot + 1 + digits)?);
            let path = path.with_file_name(&original);
            return (original != name && path.is_file()).then_some(path);
        }
        from = dot + 1;
    }
    None
}

/// Copies of codings in a session's folder, each with the coding it is a copy of.
#[must_use]
pub fn copies_in(folder: &Path) -> Vec<(PathBuf, PathBuf)> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut copies: Vec<(PathBuf, PathBuf)> = entries
        .filter_map(|entry| {
            let path = entry.ok()?.path();
            let original = original_of(&path)?;
            path.is_file().then_some((path, original))
        })
        .collect();
    copies.sort();
    copies
}

/// A free name for a copy of our own beside a coding.
#[must_use]
pub fn free_name(coding: &Path) -> PathBuf {
    let stem = coding_file::stem(coding);
    let mut number = 1_u32;
    loop {
        let path = coding.with_file_name(format!("{stem}.conflict-{number}.coding.json"));
        if !path.exists() && !coding_file::journal_path(&path).exists() {
            return path;
        }
        number += 1;
    }
}

/// Whose state of a mark is taken where both changed it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// The coding's own.
    This,
    /// The copy's.
    Other,
    /// Both, the copy's under a new number.
    Both,
}

/// A mark that stands differently on both sides, and no common state tells who changed it.
#[derive(Debug, Clone, PartialEq)]
pub struct Clash {
    /// Its number.
    pub id: MarkId,
    /// In the coding; none: removed there.
    pub this: Option<Mark>,
    /// In the copy; none: removed there.
    pub other: Option<Mark>,
}

/// Two states of one coding, put together.
#[derive(Debug, Clone, PartialEq)]
pub struct Merged {
    /// The result, with every clash settled as chosen.
    pub coding: Coding,
    /// What was settled by the choice.
    pub clashes: Vec<Clash>,
    /// Marks taken over from the copy, or removed as there, without a clash.
    pub taken: usize,
    /// What a person should look at, in words.
    pub remarks: Vec<String>,
}

/// Merges two states of one coding by the numbers of their marks. `base` is a state both grew from:
/// a mark that only one side changed, added or removed is as that side has it. Without a base nothing is
/// taken for removed: a mark that one side has stays. A pass is done only where both say so, so that
/// what one of them had not looked at does not become zero.
#[must_use]
pub fn merge(base: Option<&Coding>, this: &Coding, other: &Coding, choice: Choice) -> Merged {
    let by_id = |coding: &Coding| -> BTreeMap<MarkId, Mark> {
        coding.marks.iter().map(|mark| (mark.id, mark.clone())).collect()
    };
    let (ours, theirs) = (by_id(this), by_id(other));
    let old = base.map(by_id);
    let mut next = this.next_id().max(other.next_id());
    let mut ids: Vec<MarkId> = ours.keys().chain(theirs.keys()).copied().collect();
    ids.sort_unstable();
    ids.dedup();
    let (mut marks, mut clashes, mut taken) = (Vec::new(), Vec::new(), 0);
    for id in ids {
        let (mine, copy) = (ours.get(&id), theirs.get(&id));
        let before = old.as_ref().map(|old| old.get(&id));
        if mine == copy || before == Some(copy) || (before.is_none() && copy.is_none()) {
            marks.extend(mine.cloned());
        } else if before == Some(mine) || (before.is_none() && mine.is_none()) {
            marks.extend(copy.cloned());
            taken += 1;
        } else {
            match choice {
                Choice::This => marks.extend(mine.cloned()),
                Choice::Other => marks.extend(copy.cloned()),
                Choice::Both => {
                    marks.extend(mine.cloned());
                    if let (Some(_), Some(copy)) = (mine, copy) {
                        marks.push(Mark { id: next, ..copy.clone() });
                        next = MarkId(next.0 + 1);
                    } else {
                        marks.extend(copy.cloned());
                    }
                }
            }
            clashes.push(Clash { id, this: mine.cloned(), other: copy.cloned() });
        }
    }
    marks.sort_by_key(|mark| (mark.from, mark.id));
    let mut coding = Coding { marks, ..this.clone() };
    let mut remarks = Vec::new();
    let mut aside = Vec::new();
    for mark in &other.set_aside {
        let is_here = |own: &Mark| own == mark;
        if !coding.marks.iter().chain(&this.set_aside).any(is_here) {
            let is_taken = coding.marks.iter().chain(&this.set_aside).any(|own| own.id == mark.id);
            let id = if is_taken { next } else { mark.id };
            next = if is_taken { MarkId(next.0 + 1) } else { next };
            aside.push(Mark { id, ..mark.clone() });
        }
    }
    if !aside.is_empty() {
        remarks.push(format!("{} marks the copy had set aside are set aside here too", aside.len()));
        coding.set_aside.extend(aside);
    }
    for pass in coding.passes.iter_mut().filter(|pass| pass.done) {
        if !other.passes.iter().any(|there| there.name == pass.name && there.done) {
            pass.done = false;
            remarks.push(format!(
                "the pass '{}' was done on one side only: it is open again; look it through and close it",
                pass.name
            ));
        }
    }
    let open_again = merge_answers(&mut coding, this, other);
    if open_again > 0 {
        remarks.push(format!(
            "{open_again} samples were answered differently on both sides: they are open again; answer them anew"
        ));
    }
    if this.window != other.window {
        remarks.push("the coded stretch differs; the coding's own was kept".to_owned());
    }
    Merged { coding, clashes, taken, remarks }
}

/// Of codings by samples: a sample is answered where each side that answered it finds its answer in the
/// result. How many are open again.
fn merge_answers(merged: &mut Coding, this: &Coding, other: &Coding) -> usize {
    let told = |coding: &Coding, number: u32| -> BTreeSet<BehaviourId> {
        let own = coding.marks.iter().filter(|mark| mark.sample == Some(number));
        own.map(|mark| mark.behaviour.clone()).collect()
    };
    let mut answered = Vec::new();
    let mut open_again = 0;
    for pass in &merged.passes {
        let of = |coding: &Coding| {
            let own = coding.passes.iter().find(|own| own.name == pass.name);
            own.map(|own| own.answered.clone()).unwrap_or_default()
        };
        let (mine, theirs) = (of(this), of(other));
        let numbers: BTreeSet<u32> =
            [&mine, &theirs].into_iter().flat_map(Numbers::sorted).flat_map(|[a, b]| a..=b).collect();
        let mut kept = Numbers::default();
        for number in numbers {
            let found = told(merged, number);
            let stands = [(&mine, this), (&theirs, other)]
                .into_iter()
                .all(|(own, side)| !own.contains(number) || told(side, number) == found);
            if stands {
                kept.insert(number);
            } else {
                open_again += 1;
            }
        }
        answered.push((kept, open_again > 0));
    }
    for (pass, (kept, is_open)) in merged.passes.iter_mut().zip(answered) {
        pass.answered = kept;
        pass.done &= !is_open;
    }
    open_again
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{EthogramRef, Pass};
    use crate::time::Micros;

    fn coding(marks: &[(u64, i64)]) -> Coding {
        let ethogram = EthogramRef { id: "e".into(), revision: 1, digest: String::new() };
        let mut coding = Coding::new("s".into(), "K-01".into(), ethogram);
        coding.marks =
            marks.iter().map(|(id, at)| Mark::event(MarkId(*id), "approach".into(), Micros(*at))).collect();
        coding
    }

    fn marks(merged: &Merged) -> Vec<(u64, i64)> {
        merged.coding.marks.iter().map(|mark| (mark.id.0, mark.from.0)).collect()
    }

    #[test]
    fn a_change_on_one_side_is_taken_and_a_change_on_both_is_a_clash() {
        let base = coding(&[(1, 10), (2, 20), (3, 30), (4, 40), (5, 50)]);
        // 2 moved here, 3 moved there, 4 moved on both, 5 removed there; 6 new here, 7 new there.
        let this = coding(&[(1, 10), (2, 21), (3, 30), (4, 41), (5, 50), (6, 60)]);
        let other = coding(&[(1, 10), (2, 20), (3, 33), (4, 44), (7, 70)]);
        let merged = merge(Some(&base), &this, &other, Choice::This);
        assert_eq!(marks(&merged), [(1, 10), (2, 21), (3, 33), (4, 41), (6, 60), (7, 70)]);
        assert_eq!(merged.clashes.iter().map(|clash| clash.id.0).collect::<Vec<_>>(), [4]);
        assert_eq!(merged.taken, 3);
        let merged = merge(Some(&base), &this, &other, Choice::Other);
        assert!(marks(&merged).contains(&(4, 44)));
        let merged = merge(Some(&base), &this, &other, Choice::Both);
        assert!(marks(&merged).contains(&(4, 41)) && marks(&merged).contains(&(8, 44)));
    }

    #[test]
    fn without_a_common_state_no_mark_is_lost() {
        let merged = merge(None, &coding(&[(1, 10), (2, 20)]), &coding(&[(2, 22), (3, 30)]), Choice::This);
        assert_eq!(marks(&merged), [(1, 10), (2, 20), (3, 30)]);
        assert_eq!(merged.clashes.len(), 1);
    }

    #[test]
    fn what_either_side_set_aside_stays() {
        let (mut this, mut other) = (coding(&[(1, 10)]), coding(&[(1, 10)]));
        this.set_aside = coding(&[(2, 20)]).marks;
        other.set_aside = coding(&[(2, 20), (3, 30), (1, 11)]).marks;
        let merged = merge(None, &this, &other, Choice::This);
        assert_eq!(merged.coding.set_aside.iter().map(|mark| mark.id.0).collect::<Vec<_>>(), [2, 3, 4]);
        assert_eq!((marks(&merged), merged.remarks.len()), (vec![(1, 10)], 1));
    }

    #[test]
    fn removed_on_one_side_and_changed_on_the_other_is_a_clash() {
        let merged = merge(Some(&coding(&[(1, 10)])), &coding(&[]), &coding(&[(1, 11)]), Choice::Both);
        assert_eq!((marks(&merged), merged.clashes.len()), (vec![(1, 11)], 1));
    }

    #[test]
    fn a_pass_is_done_only_where_both_say_so() {
        let pass = |done| Pass {
            name: "A".to_owned(),
            behaviours: Vec::new(),
            done,
            minutes: 0.0,
            answered: Numbers::default(),
            extra: crate::model::Extra::new(),
        };
        let (mut this, mut other) = (coding(&[]), coding(&[]));
        this.passes = vec![pass(true)];
        other.passes = vec![pass(false)];
        let merged = merge(None, &this, &other, Choice::This);
        assert!(!merged.coding.passes[0].done && merged.remarks[0].contains("open again"));
    }

    #[test]
    fn a_sample_answered_differently_on_both_sides_is_open_again() {
        let side = |marks: &[(u64, &str, u32)], answered: &[u32]| {
            let mut own = coding(&[]);
            let mark = |(id, what, sample): &(u64, &str, u32)| Mark {
                sample: Some(*sample),
                ..Mark::event(MarkId(*id), (*what).into(), Micros(i64::from(*sample)))
            };
            own.marks = marks.iter().map(mark).collect();
            let outline = crate::model::PassOutline {
                name: "Points".to_owned(),
                behaviours: Vec::new(),
                extra: crate::model::Extra::new(),
            };
            let mut pass = Pass { done: true, ..Pass::from(&outline) };
            for number in answered {
                pass.answered.insert(*number);
            }
            own.passes = vec![pass];
            own
        };
        // 1 alike, 2 only here, 3 only there, 4 different, 5 absent here and present there.
        let this = side(&[(1, "move", 1), (2, "move", 2), (4, "move", 4)], &[1, 2, 4, 5]);
        let other =
            side(&[(1, "move", 1), (7, "explore", 3), (8, "explore", 4), (9, "move", 5)], &[1, 3, 4, 5]);
        let merged = merge(None, &this, &other, Choice::This);
        let pass = &merged.coding.passes[0];
        assert_eq!(pass.answered.sorted(), [[1, 3]]);
        assert!(!pass.done && merged.remarks[0].contains("2 samples"), "{:?}", merged.remarks);
    }

    #[test]
    fn copies_are_told_by_the_shape_of_their_names() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("K-01.1.coding.json"), "").unwrap();
        std::fs::write(at("K-01.2.coding.json"), "").unwrap();
        for name in [
            "K-01.1.coding (conflicted copy 2025-03-03).json",
            "K-01.1.coding.sync-conflict-20250303-101010-ABCDEFG.json",
            "K-01.1.coding 2.json",
            "K-01.1 (1).coding.json",
            "K-01.1.conflict-1.coding.json",
        ] {
            assert_eq!(original_of(&at(name)), Some(at("K-01.1.coding.json")), "{name}");
        }
        // An original, one of nobody, and other files.
        for name in [
            "K-01.2.coding.json",
            "K-07.1.coding 2.json",
            "session.json",
            "K-01.1.journal",
            "mine.coding.json",
        ] {
            assert_eq!(original_of(&at(name)), None, "{name}");
        }
    }
}
