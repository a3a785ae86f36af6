//! Covering faces: a way of the Coding screen in which rectangles are drawn on the film.

use iced::keyboard::key::Named;
use iced::keyboard::{Key, Modifiers};

use super::{Coding, Said};
use crate::gui::widget::covers::Gesture;
use crate::model::{Clip, ClipId, FaceCover};
use crate::time::Micros;
use crate::workbench::coder::Refusal;
use crate::workbench::covers::{self, Place};

/// What keys do meanwhile; those of the film do what they always do.
pub const COVERS: &[(&str, &str)] = &[
    ("drag", "draw a rectangle; drag one along with the face, also while the film runs"),
    ("=", "a rectangle in the middle, from this picture on"),
    ("Alt+arrows", "move it, from this picture on"),
    ("Alt+Shift+arrows", "wider, narrower, higher, lower"),
    ("Tab", "the next rectangle"),
    ("Enter", "the face is gone from this picture on"),
    ("Delete", "remove the rectangle"),
    ("Ctrl+Z", "undo"),
    ("Escape", "back to coding"),
];

const NONE: &str = "no rectangle is chosen here: draw one, or choose one with Tab";

/// How far a key moves a rectangle, as a share of the picture.
const STEP: f64 = 0.01;

/// Covers being drawn.
#[derive(Debug, Default)]
pub(super) struct Covering {
    /// Faces at the picture that is shown, for drawing.
    pub(super) shown: Vec<(u32, Place)>,
    pub(super) chosen: Option<u32>,
    /// States before each step, the latest last.
    before: Vec<(ClipId, Vec<FaceCover>)>,
}

impl Coding {
    /// Begins to cover faces, or goes back to coding.
    pub(super) fn toggle_covering(&mut self) {
        if self.covering.take().is_some() {
            self.said = Said::Done("back to coding".to_owned());
            return;
        }
        if let Some(why) = &self.only_to_look {
            self.said = Said::Refused(Refusal::OnlyToLook(why.clone()).to_string());
            return;
        }
        // Somebody may have covered faces since this coding was opened.
        if let Ok(now) = self.folder.session(&self.session.id) {
            for own in &mut self.session.clips {
                if let Some(now) = now.clip(own.id) {
                    own.face_covers.clone_from(&now.face_covers);
                }
            }
        }
        self.covering = Some(Covering::default());
        self.said = Said::Done(
            "Faces: draw a rectangle on the picture, it holds from here on; drag it along where the face moves; F1 shows the keys"
                .to_owned(),
        );
        self.show_covers();
    }

    /// The clip that is shown, its own time at the shown picture, and where it ends.
    fn place_in_clip(&self) -> Option<(ClipId, Micros, Micros)> {
        let shot = self.player.shown().filter(|_| self.picture.is_some())?;
        // As when the picture is covered later, so that both agree to the microsecond.
        let at = self.session.clip(shot.clip).and_then(Clip::clock)?.clip_time(shot.at)?;
        let end = self.films.get(&shot.clip)?.index().end();
        Some((shot.clip, at, end.max(at)))
    }

    fn covers_of(&mut self, clip: ClipId) -> Option<&mut Vec<FaceCover>> {
        self.session.clips.iter_mut().find(|own| own.id == clip).map(|own| &mut own.face_covers)
    }

    /// Faces at the picture that is shown; one that is no longer there is chosen no longer.
    pub(super) fn show_covers(&mut self) {
        let place = self.place_in_clip();
        let shown =
            place.and_then(|(clip, at, _)| Some(covers::at(&self.session.clip(clip)?.face_covers, at)));
        if let Some(covering) = &mut self.covering {
            covering.shown = shown.unwrap_or_default();
        }
    }

    /// Changes the covers of the shown clip by a step that can be taken back.
    fn change_covers(
        &mut self,
        keep: bool,
        change: impl FnOnce(&mut Vec<FaceCover>, Micros, Micros) -> Result<(Option<u32>, String), &'static str>,
    ) {
        let Some((clip, at, end)) = self.place_in_clip() else {
            self.said = Said::Refused("there is no picture yet to cover anything on".to_owned());
            return;
        };
        let Some(own) = self.covers_of(clip) else { return };
        let before = own.clone();
        match change(own, at, end) {
            Ok((chosen, said)) => {
                if let Some(covering) = &mut self.covering {
                    covering.chosen = chosen;
                    if keep {
                        covering.before.push((clip, before));
                    }
                }
                self.said = Said::Done(said);
                if keep {
                    self.save_covers();
                }
            }
            Err(why) => self.said = Said::Refused(why.to_owned()),
        }
        self.show_covers();
    }

    fn save_covers(&mut self) {
        let own = &self.session.clips;
        let done = self.folder.change_session(&self.session.id, |session| {
            for clip in &mut session.clips {
                if let Some(own) = own.iter().find(|own| own.id == clip.id) {
                    clip.face_covers.clone_from(&own.face_covers);
                }
            }
        });
        if let Err(error) = done {
            self.said = Said::Refused(format!("the covered faces can't be saved: {error}"));
        }
    }

    pub(super) fn cover_gesture(&mut self, gesture: Gesture) {
        match gesture {
            Gesture::Drawn(place) => self.begin_cover(place),
            Gesture::Taken(face) => {
                let before = self
                    .place_in_clip()
                    .and_then(|(clip, ..)| Some((clip, self.session.clip(clip)?.face_covers.clone())));
                if let Some(covering) = &mut self.covering {
                    covering.chosen = Some(face);
                    covering.before.extend(before);
                }
            }
            // Saved when it is let go: a drag is one step.
            Gesture::Moved(face, place) => self.change_covers(false, |own, at, _| {
                if !covers::follow(own, face, at, place) {
                    return Err("this face is no longer covered here");
                }
                Ok((Some(face), "it moves along, from this picture on".to_owned()))
            }),
            Gesture::LetGo => {
                // A click that only chose one is no step to take back.
                let clips = &self.session.clips;
                let is_as_before = |(clip, before): &mut (ClipId, Vec<FaceCover>)| {
                    clips.iter().any(|own| own.id == *clip && own.face_covers == *before)
                };
                if let Some(covering) = &mut self.covering
                    && covering.before.pop_if(is_as_before).is_none()
                {
                    self.save_covers();
                }
                self.show_covers();
            }
        }
    }

    fn begin_cover(&mut self, place: Place) {
        self.change_covers(true, |own, at, end| {
            let face = covers::begin(own, at, end, place);
            Ok((
                Some(face),
                "covered from this picture to the clip's end; Enter where the face is gone".to_owned(),
            ))
        });
    }

    /// Moves the chosen rectangle, or changes its size.
    fn shift_cover(&mut self, change: impl Fn(Place) -> Place) {
        let chosen = self.covering.as_ref().and_then(|own| own.chosen);
        self.change_covers(true, |own, at, _| {
            let face = chosen.ok_or(NONE)?;
            let (_, place) = covers::at(own, at).into_iter().find(|(own, _)| *own == face).ok_or(NONE)?;
            if !covers::follow(own, face, at, change(place)) {
                return Err(NONE);
            }
            Ok((Some(face), "it lies here from this picture on".to_owned()))
        });
    }

    /// A key while faces are covered; whether it meant something here.
    pub(super) fn cover_key(&mut self, key: &Key, modifiers: Modifiers) -> bool {
        let chosen = match &self.covering {
            Some(covering) => covering.chosen,
            None => return false,
        };
        let (alt, shift) = (modifiers.alt(), modifiers.shift());
        match key.as_ref() {
            Key::Named(Named::Escape) => self.toggle_covering(),
            Key::Character("=") => self.begin_cover(Place::MIDDLE),
            Key::Named(Named::Tab) => self.next_cover(),
            Key::Named(Named::Enter) => self.change_covers(true, |own, at, _| {
                let face = chosen.ok_or(NONE)?;
                if covers::end(own, face, at) {
                    Ok((None, "gone from this picture on".to_owned()))
                } else {
                    Err("this face is not covered here")
                }
            }),
            Key::Named(Named::Delete | Named::Backspace) => self.change_covers(true, |own, _, _| {
                covers::remove(own, chosen.ok_or(NONE)?);
                Ok((None, "the rectangle is removed from the whole clip; Ctrl+Z brings it back".to_owned()))
            }),
            Key::Named(
                arrow @ (Named::ArrowLeft | Named::ArrowRight | Named::ArrowUp | Named::ArrowDown),
            ) if alt => {
                let (x, y) = match arrow {
                    Named::ArrowLeft => (-STEP, 0.0),
                    Named::ArrowRight => (STEP, 0.0),
                    Named::ArrowUp => (0.0, -STEP),
                    _ => (0.0, STEP),
                };
                if shift {
                    self.shift_cover(|own| own.grown(x, -y));
                } else {
                    self.shift_cover(|own| own.moved(x, y));
                }
            }
            Key::Character("z" | "Z") if modifiers.command() => self.undo_cover(),
            Key::Character(text) if super::keys::code(key, modifiers).is_some() => {
                self.said = Said::Refused(format!(
                    "'{text}' codes nothing while faces are covered: Escape goes back to coding"
                ));
            }
            _ => return false,
        }
        true
    }

    fn next_cover(&mut self) {
        let Some(covering) = &mut self.covering else { return };
        let place = covering.shown.iter().position(|(face, _)| Some(*face) == covering.chosen);
        let next = place.map_or(0, |place| (place + 1) % covering.shown.len().max(1));
        covering.chosen = covering.shown.get(next).map(|(face, _)| *face);
        self.said = match covering.chosen {
            Some(_) => Said::Done(format!("rectangle {} of {}", next + 1, covering.shown.len())),
            None => Said::Refused("no face is covered at this picture".to_owned()),
        };
    }

    fn undo_cover(&mut self) {
        let Some((clip, before)) = self.covering.as_mut().and_then(|own| own.before.pop()) else {
            self.said = Said::Refused("no step of covering is left to take back".to_owned());
            return;
        };
        if let Some(own) = self.covers_of(clip) {
            *own = before;
        }
        self.said = Said::Done("taken back".to_owned());
        self.save_covers();
        self.show_covers();
    }
}
