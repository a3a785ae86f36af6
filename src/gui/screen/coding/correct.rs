//! What the keys that code nothing do.

use super::keys::Wish;
use super::{Action, BACK_ON_RESUME, Beside, Coding, Said, view};
use crate::gui::widget::keyboard::Fold;
use crate::gui::widget::tape;
use crate::gui::widget::video::Sight;
use crate::model::{End, MarkId};
use crate::time::{Micros, Span};
use crate::workbench::coder::{Edge, Refusal};
use crate::workbench::player::Direction;

impl Coding {
    pub(super) fn wish(&mut self, wish: Wish) -> Action {
        self.sample_wish(wish).unwrap_or_else(|| self.wish_of_all(wish))
    }

    /// What a key that codes nothing does in every coding.
    fn wish_of_all(&mut self, wish: Wish) -> Action {
        let now = self.now();
        match wish {
            Wish::Toggle => self.player.toggle(now),
            Wish::Reverse => self.player.run(Direction::Reverse, now),
            Wish::Step(by) => self.player.step(by, now),
            Wish::Skip(seconds) => self.player.skip(Micros::from_whole_seconds(seconds), now),
            Wish::Speed(by) => self.player.change_speed(by, now),
            Wish::Start => self.player.go_to(Micros(i64::MIN / 2), now),
            Wish::End => self.player.go_to(Micros::MAX, now),
            Wish::Mark(by) => self.go_to_mark(by),
            Wish::Motion(by) => self.go_to_motion(by),
            Wish::SearchMotion => return self.toggle_search().map_or(Action::None, Action::Run),
            Wish::Zoom(closer) => self.gesture(tape::Gesture::Zoom(if closer { 0.7 } else { 1.4 })),
            Wish::Gamma => {
                let gamma = if self.sight.gamma < 2.0 { self.sight.gamma + 0.4 } else { 1.0 };
                self.sight = Sight { gamma, ..self.sight };
            }
            Wish::Contrast => {
                let contrast = if self.sight.contrast < 2.0 { self.sight.contrast + 0.25 } else { 1.0 };
                self.sight = Sight { contrast, ..self.sight };
            }
            Wish::Closer(closer) => self.sight = self.sight.closer(if closer { 1.25 } else { 0.8 }),
            Wish::Pan(x, y) => self.sight = self.sight.moved(f64::from(x) * 0.1, f64::from(y) * 0.1),
            Wish::AsFilmed => self.sight = Sight::default(),
            Wish::Camera => self.next_camera(),
            Wish::BothCameras => self.put_beside(Beside::OtherCamera),
            Wish::Compare => self.put_beside(Beside::Before),
            Wish::Align => self.align(),
            Wish::Still(drawn) => self.save_still(drawn),
            Wish::Field => self.next_field(),
            Wish::Covers => self.toggle_covering(),
            Wish::Definition => {
                self.reads_definition = !self.reads_definition;
                self.read_examples();
            }
            Wish::Revision => self.look_at_revision(),
            Wish::Example => self.keep_example(),
            Wish::Verify => return self.prove(),
            Wish::Sound => self.toggle_sound(),
            Wish::BackOnResume => self.toggle_back_on_resume(),
            // Held and let go of: told by the key itself.
            Wish::Slow => {}
            Wish::Keys => self.show_keys = !self.show_keys,
            Wish::Fold => self.next_fold(),
            Wish::Loop => {
                let at = self.at();
                let span = Span::try_new(at - Micros::from_whole_seconds(4), at);
                self.player.set_loop(if self.player.looping().is_some() { None } else { span });
            }
            Wish::Pass => {
                let count = self.coder.coding().passes.len();
                let next = match self.coder.pass() {
                    None => Some(0),
                    Some(pass) if pass + 1 < count => Some(pass + 1),
                    Some(_) => None,
                };
                self.coder.set_pass(next);
                self.prepare();
            }
            Wish::PassDone => {
                if let Some(pass) = self.coder.pass() {
                    self.tick_pass(pass);
                }
            }
            Wish::Undo => {
                let done = self.coder.undo();
                self.take(done);
            }
            Wish::Redo => {
                let done = self.coder.redo();
                self.take(done);
            }
            Wish::EndState if self.revising.is_some() => self.move_revision(),
            Wish::EndState => {
                let done = match self.player.shown() {
                    Some(shot) => self.coder.end(self.chosen.map(|(mark, _)| mark), shot),
                    None => Err(Refusal::NothingHolds),
                };
                self.take(done);
            }
            Wish::Leave if self.revising.is_some() => self.revising = None,
            Wish::Leave if self.show_keys || self.changing || self.note.is_some() => {
                self.show_keys = false;
                self.changing = false;
                self.note = None;
            }
            Wish::Leave => return if self.finish() { Action::Leave } else { Action::None },
            Wish::Lag
            | Wish::Remove
            | Wish::Nudge(_)
            | Wish::OtherEdge
            | Wish::Unsure
            | Wish::Note
            | Wish::Detail
            | Wish::Split
            | Wish::Merge
            | Wish::Change => return self.correct(wish),
        }
        Action::None
    }

    fn toggle_back_on_resume(&mut self) {
        let is_on = self.player.back_on_resume() == Micros::ZERO;
        self.player.set_back_on_resume(if is_on { BACK_ON_RESUME } else { Micros::ZERO });
        let words = if is_on { "goes back 2 s" } else { "goes on where it stood" };
        self.said = Said::Done(format!("playing {words} when it starts again"));
    }

    /// Low, away, whole in turn; the first press does something in a window of any height.
    fn next_fold(&mut self) {
        let (next, words) = match self.fold {
            None | Some(Fold::Low) => {
                (Fold::Away, "the keyboard is away: its keys code all the same; Ctrl+F1 brings it back")
            }
            Some(Fold::Away) => (Fold::Whole, "the whole keyboard"),
            Some(Fold::Whole) => (Fold::Low, "a low keyboard: rows that code nothing now are left out"),
        };
        self.fold = Some(next);
        self.said = Said::Done(words.to_owned());
    }

    /// Wishes that need a chosen mark.
    fn correct(&mut self, wish: Wish) -> Action {
        let Some((mark, edge)) = self.chosen else {
            self.said = Said::Refused("choose a mark first: PageUp, PageDown, or click it".to_owned());
            return Action::None;
        };
        let done = match wish {
            Wish::Remove => self.coder.remove(mark),
            Wish::Nudge(by) => {
                let done = self.coder.nudge(mark, edge, by);
                let moved = done.is_ok();
                self.take(done);
                if moved {
                    self.chosen = Some((mark, edge));
                    self.show_edge(mark, edge);
                }
                return Action::None;
            }
            Wish::Unsure => self.coder.toggle_unsure(mark),
            Wish::Lag => self.coder.toggle_lag(mark),
            Wish::Detail => self.coder.next_detail(mark),
            Wish::Merge => self.coder.merge(mark),
            Wish::Split => match self.player.shown() {
                Some(shot) => self.coder.split(mark, shot),
                None => Err(Refusal::NothingHolds),
            },
            Wish::OtherEdge => {
                let other = if edge == Edge::From { Edge::To } else { Edge::From };
                self.chosen = Some((mark, other));
                self.show_edge(mark, other);
                return Action::None;
            }
            Wish::Note => {
                self.note =
                    Some(self.coder.coding().mark(mark).and_then(|own| own.note.clone()).unwrap_or_default());
                return Action::Run(iced::widget::operation::focus(view::NOTE));
            }
            Wish::Change => {
                self.changing = true;
                self.said =
                    Said::Done("press the key of the behaviour it should be; Escape leaves it".to_owned());
                return Action::None;
            }
            _ => return Action::None,
        };
        self.take(done);
        Action::None
    }

    /// Goes to the picture of an edge, so that a nudge is seen.
    fn show_edge(&mut self, mark: MarkId, edge: Edge) {
        let now = self.now();
        if let Some(mark) = self.coder.coding().mark(mark) {
            let at = match (edge, mark.to) {
                (Edge::To, End::At(to)) => to,
                _ => mark.from,
            };
            self.player.go_to(at, now);
        }
    }

    fn go_to_mark(&mut self, by: isize) {
        let at = self.at();
        let marks = &self.coder.coding().marks;
        let live = marks.iter().filter(|mark| self.coder.is_live(&mark.behaviour));
        let found = if by > 0 {
            live.filter(|mark| mark.from > at).min_by_key(|mark| (mark.from, mark.id))
        } else {
            live.filter(|mark| mark.from < at).max_by_key(|mark| (mark.from, mark.id))
        };
        match found.map(|mark| (mark.id, mark.from)) {
            Some((id, from)) => {
                self.chosen = Some((id, Edge::From));
                let now = self.now();
                self.player.go_to(from, now);
            }
            None => self.said = Said::Refused("there is no further mark of this pass".to_owned()),
        }
    }

    pub(super) fn tick_pass(&mut self, pass: usize) {
        let done = self.coder.coding().passes.get(pass).is_some_and(|pass| pass.done);
        let done = self.coder.set_pass_done(pass, !done);
        let chosen = self.chosen;
        self.take(done);
        self.chosen = chosen;
    }

    pub(super) fn gesture(&mut self, gesture: tape::Gesture) {
        let now = self.now();
        if self.is_sampled() {
            match gesture {
                tape::Gesture::Go(at) => return self.go_to_sample_at(at),
                tape::Gesture::Choose(mark) => {
                    let own = self.coder.coding().mark(mark).map(|own| own.from);
                    self.chosen = Some((mark, Edge::From));
                    return own.map_or((), |at| self.go_to_sample_at(at));
                }
                tape::Gesture::Drag(..) => return,
                tape::Gesture::Zoom(_) => {}
            }
        }
        match gesture {
            tape::Gesture::Go(at) => self.player.go_to(at, now),
            tape::Gesture::Choose(mark) => self.chosen = Some((mark, Edge::From)),
            tape::Gesture::Zoom(factor) => {
                let session = self.prepared.ribbon.extent.map_or(600.0, |extent| extent.length().seconds());
                self.zoom = self.zoom.by(factor, session);
            }
            tape::Gesture::Drag(mark, edge, at) => {
                let Some(shot) = self.player.reel().shot_at(at) else { return };
                let is_there = self.coder.coding().mark(mark).is_some_and(|own| match edge {
                    Edge::From => own.from == shot.at,
                    Edge::To => own.to == End::At(shot.at),
                });
                if !is_there {
                    let done = self.coder.move_edge(mark, edge, shot);
                    self.take(done);
                    self.chosen = Some((mark, edge));
                }
            }
        }
    }
}
