//! Both tapes under one reading line: rows of the two coders in turn, between them where they differ.

use super::load::name_of;
use crate::agreement::differences::{Apart, Place};
use crate::gui::theme::{self, Palette};
use crate::gui::widget::tape::{Bar, Content, Row};
use crate::model::{Behaviour, Coding, Ethogram, Kind, Mark, MarkId, Role};
use crate::storage::study_folder::LoadedCoding;
use crate::time::{Micros, Span};

/// The row that differences are about, and the events; `list` are the differences in the order in which
/// the screen lists them. A bar of a difference bears its place in the list ([`place_of`]).
pub(super) fn of(
    [first, second]: [&LoadedCoding; 2],
    list: &[Apart],
    about: &Place,
    palette: Palette,
) -> Content {
    let ethogram = &first.ethogram;
    let extent = first.session.extent().or(first.coding.window);
    let end = extent.map_or(Micros::MAX, |span| span.to);
    let states = |own: &Behaviour| match about {
        Place::Set(id) => own.set.as_ref().is_some_and(|set| set.as_str() == id),
        Place::State(id) => own.id.as_str() == id,
        Place::Events(_) => false,
    };
    let events = |own: &Behaviour| own.kind == Kind::Event;
    let mut rows = Vec::new();
    if !matches!(about, Place::Events(_)) {
        let name = name_of(ethogram, about.name());
        rows.push(row(&first.coding, ethogram, &name, end, &states));
        rows.push(lit(list, palette, "differ", &|place| place == about));
        rows.push(row(&second.coding, ethogram, &name, end, &states));
    }
    rows.push(row(&first.coding, ethogram, "events", end, &events));
    rows.push(lit(list, palette, "differ", &|place| matches!(place, Place::Events(_))));
    rows.push(row(&second.coding, ethogram, "events", end, &events));
    Content { rows, gaps: first.session.file_gaps().as_slice().to_vec(), extent, ..Content::default() }
}

/// The bar of a difference, by its place in the list.
pub(super) fn bar_of(place: usize) -> MarkId {
    MarkId(u64::try_from(place).map_or(LIT, |place| LIT + place))
}

/// The difference a bar stands for.
pub(super) fn place_of(mark: MarkId) -> Option<usize> {
    usize::try_from(mark.0.checked_sub(LIT)?).ok()
}

/// Marks of codings have small numbers.
const LIT: u64 = 1 << 62;

fn row(
    coding: &Coding,
    ethogram: &Ethogram,
    what: &str,
    end: Micros,
    belongs: &dyn Fn(&Behaviour) -> bool,
) -> Row {
    let mut bars: Vec<Bar> =
        coding.marks.iter().filter_map(|mark| bar(mark, ethogram, end, belongs)).collect();
    bars.sort_by_key(|bar| (bar.span.from, bar.mark));
    Row { name: format!("{} {what}", coding.by), bars }
}

fn bar(mark: &Mark, ethogram: &Ethogram, end: Micros, belongs: &dyn Fn(&Behaviour) -> bool) -> Option<Bar> {
    let behaviour = ethogram.behaviour(&mark.behaviour).filter(|own| belongs(own))?;
    let (colour, pattern) = colour_of(ethogram, behaviour);
    Some(Bar {
        mark: mark.id,
        span: mark.span(end.max(mark.from)).unwrap_or(Span { from: mark.from, to: mark.from }),
        open: mark.is_open(),
        event: mark.is_event(),
        name: behaviour.name.clone(),
        colour,
        pattern,
        unsure: mark.unsure,
    })
}

/// As on the Coding screen: by its place among those of its kind and set.
fn colour_of(ethogram: &Ethogram, behaviour: &Behaviour) -> (iced::Color, bool) {
    if behaviour.has_role(Role::Excluded) {
        return (theme::UNSEEN, false);
    }
    let mut alike =
        ethogram.behaviours.iter().filter(|own| own.kind == behaviour.kind && own.set == behaviour.set);
    theme::state(alike.position(|own| own.id == behaviour.id).unwrap_or(0))
}

fn lit(list: &[Apart], palette: Palette, what: &str, is_in: &dyn Fn(&Place) -> bool) -> Row {
    let mut bars: Vec<Bar> = (LIT..)
        .zip(list)
        .filter(|(_, apart)| is_in(&apart.place))
        .map(|(mark, apart)| Bar {
            mark: MarkId(mark),
            span: apart.span,
            open: false,
            event: apart.span.is_empty(),
            name: String::new(),
            colour: palette.accent,
            pattern: false,
            unsure: false,
        })
        .collect();
    bars.sort_by_key(|bar| (bar.span.from, bar.mark));
    Row { name: what.to_owned(), bars }
}

#[cfg(test)]
mod tests {
    use super::super::load;
    use super::*;
    use crate::gui::theme::Mode;
    use crate::storage::StudyFolder;

    #[test]
    fn every_difference_is_lit_in_its_own_row_between_the_two_it_is_about() {
        let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-codings");
        let folder = StudyFolder::open(&root).unwrap();
        let codings = load::codings(&folder, &"s5".into()).unwrap_or_else(|why| panic!("{why:?}"));
        let compared = load::compare(&folder, &codings, 0, 1).unwrap_or_else(|why| panic!("{why:?}"));
        let both = [&codings.first, &codings.others[0]];
        let palette = Mode::Dark.palette();
        for (place, apart) in compared.list.iter().enumerate() {
            let tapes = of(both, &compared.list, &apart.place, palette);
            let rows: Vec<_> = tapes
                .rows
                .iter()
                .filter(|row| row.bars.iter().any(|bar| bar.mark == bar_of(place)))
                .collect();
            let [row] = rows.as_slice() else { panic!("{apart:?} is in {} rows", rows.len()) };
            assert_eq!(row.name, "differ");
            let bar = row.bars.iter().find(|bar| bar.mark == bar_of(place)).unwrap();
            assert_eq!((bar.span, place_of(bar.mark)), (apart.span, Some(place)));
            // What the two hold there stands above and below it.
            let at = tapes.rows.iter().position(|other| std::ptr::eq(other, *row)).unwrap();
            for (row, mark) in [(at - 1, apart.first_mark), (at + 1, apart.second_mark)] {
                assert!(
                    mark.is_none_or(|mark| tapes.rows[row].bars.iter().any(|bar| bar.mark == mark)),
                    "{apart:?}"
                );
            }
        }
        assert_eq!(place_of(MarkId(7)), None, "a coder's mark is no difference");
    }
}
