//! Starter ethograms for snakes, lizards and chelonians: a beginning to be adapted, not a standard.
//!
//! All definitions are our own wording; levels of concern are defaults to be adjusted to species and
//! animal, because the same behaviour means different things in different reptiles.
//! "Head length" (snout to back of skull) is the ruler. "Towards" and "away" are relative to the
//! target, else the handler's nearest hand, while that is still: distance changed by the handler
//! moving is never approach or retreat.

use super::Actor::{Animal, Handler};
use super::Kind::{Event, State};
use super::Level::{Stop, Watch};
use super::Taxon::{Chelonian, Lizard, Snake};
use super::{
    Actor, Behaviour, ConcernRule, Context, Definition, Ethogram, EthogramId, Extra, Kind, Level,
    PassOutline, Rise, Role, Set, Taxon,
};
use crate::time::Seconds;

/// Set of visibility.
pub const VISIBILITY: &str = "visibility";
/// Set of activity.
pub const ACTIVITY: &str = "activity";

/// The starter ethogram for animals of a taxon: only the behaviours and rules that fit it.
#[must_use]
pub fn ethogram(taxon: Taxon) -> Ethogram {
    let (id, title) = match taxon {
        Snake => ("snake-starter", "Starter ethogram for snakes"),
        Lizard => ("lizard-starter", "Starter ethogram for lizards"),
        Chelonian => ("chelonian-starter", "Starter ethogram for tortoises and turtles"),
    };
    let mut ethogram = Ethogram::new(EthogramId::from(id), title);
    ethogram.sets = [(VISIBILITY, "Visibility", true), (ACTIVITY, "Activity", true)]
        .map(|(id, name, exhaustive)| Set {
            id: id.into(),
            name: name.to_owned(),
            exhaustive,
            extra: Extra::new(),
        })
        .to_vec();
    ethogram.behaviours = ROWS
        .iter()
        .filter(|row| row.taxa.is_empty() || row.taxa.contains(&taxon))
        .map(|row| row.behaviour(taxon))
        .collect();
    ethogram.passes = passes(&ethogram.behaviours);
    ethogram
}

/// Passes in the order that keeps few keys alive at a time: what frames the session, then what the
/// animal is doing, then what it does about the cue, then what calls for attention.
#[must_use]
pub fn passes(behaviours: &[Behaviour]) -> Vec<PassOutline> {
    let is_framing = |b: &Behaviour| b.who == Handler;
    let is_activity = |b: &Behaviour| b.who == Animal && b.kind == State;
    let is_alarm =
        |b: &Behaviour| b.who == Animal && b.kind == Event && !b.concern.is_empty() && !in_trial(b);
    let is_trial =
        |b: &Behaviour| b.who == Animal && b.kind == Event && (b.concern.is_empty() || in_trial(b));
    let outline = |name: &str, belongs: &dyn Fn(&Behaviour) -> bool| PassOutline {
        name: name.to_owned(),
        behaviours: behaviours.iter().filter(|b| belongs(b)).map(|b| b.id.clone()).collect(),
        extra: Extra::new(),
    };
    [
        outline("Session and handler", &is_framing),
        outline("Visibility and activity", &is_activity),
        outline("Approach, retreat, contact", &is_trial),
        outline("Watch and stop", &is_alarm),
    ]
    .into_iter()
    .filter(|pass| !pass.behaviours.is_empty())
    .collect()
}

fn in_trial(behaviour: &Behaviour) -> bool {
    behaviour.roles.iter().any(|role| {
        matches!(
            role,
            Role::Orient
                | Role::Approach
                | Role::Retreat
                | Role::Contact
                | Role::Success
                | Role::Feed
                | Role::Refuse
        )
    })
}

/// What a level of concern rests on in the table below.
#[derive(Clone, Copy)]
enum Concern {
    None,
    Always(Level),
    InPresentation(Level),
    /// Watch, and stop once a bout has run this many seconds.
    WatchThenStopAfter(i64),
    /// Watch, and stop once its bouts add up to this many seconds.
    WatchThenStopTotal(i64),
    /// Stop, in chelonians watch: there it is mechanical when single.
    StopButChelonianWatch,
    /// Watch, with the detail "directed" stop.
    WatchDirectedStop,
}

struct Row {
    id: &'static str,
    name: &'static str,
    kind: Kind,
    set: Option<&'static str>,
    who: Actor,
    key: char,
    roles: &'static [Role],
    taxa: &'static [Taxon],
    concern: Concern,
    onset: &'static str,
    offset: Option<&'static str>,
    minimum: Option<&'static str>,
    not_this: Option<&'static str>,
    details: &'static [&'static str],
}

impl Row {
    fn behaviour(&self, taxon: Taxon) -> Behaviour {
        Behaviour {
            set: self.set.map(Into::into),
            definition: Definition {
                onset: self.onset.to_owned(),
                offset: self.offset.map(ToOwned::to_owned),
                minimum: self.minimum.map(ToOwned::to_owned),
                not_this: self.not_this.map(ToOwned::to_owned),
                ..Definition::default()
            },
            who: self.who,
            key: Some(self.key),
            roles: self.roles.to_vec(),
            concern: self.concern.rules(taxon),
            details: self.details.iter().map(|detail| (*detail).to_owned()).collect(),
            taxa: self.taxa.to_vec(),
            ..Behaviour::new(self.id, self.name, self.kind)
        }
    }
}

impl Concern {
    fn rules(self, taxon: Taxon) -> Vec<ConcernRule> {
        let rising = |after_s, total_s| {
            let rise = Rise { to: Stop, after_s, total_s, count: None, window_s: None, extra: Extra::new() };
            vec![ConcernRule { rise: Some(rise), ..ConcernRule::new(Watch) }]
        };
        match self {
            Self::None => Vec::new(),
            Self::Always(level) => vec![ConcernRule::new(level)],
            Self::InPresentation(level) => {
                vec![ConcernRule { when: Context::InPresentation, ..ConcernRule::new(level) }]
            }
            Self::WatchThenStopAfter(seconds) => rising(Some(Seconds::whole(seconds)), None),
            Self::WatchThenStopTotal(seconds) => rising(None, Some(Seconds::whole(seconds))),
            Self::StopButChelonianWatch => {
                vec![ConcernRule::new(if taxon == Chelonian { Watch } else { Stop })]
            }
            Self::WatchDirectedStop => vec![
                ConcernRule::new(Watch),
                ConcernRule { detail: Some("directed at the handler".to_owned()), ..ConcernRule::new(Stop) },
            ],
        }
    }
}

const NOWHERE: Row = Row {
    id: "",
    name: "",
    kind: Event,
    set: None,
    who: Animal,
    key: '0',
    roles: &[],
    taxa: &[],
    concern: Concern::None,
    onset: "",
    offset: None,
    minimum: None,
    not_this: None,
    details: &[],
};

const ROWS: &[Row] = &[
    Row {
        id: "in-view",
        name: "In view",
        kind: State,
        set: Some(VISIBILITY),
        key: 'v',
        roles: &[Role::Visible],
        onset: "First picture in which the head and at least half the body can be judged (snake: head and first third).",
        offset: Some("Head or more than half the body can no longer be judged."),
        ..NOWHERE
    },
    Row {
        id: "part-view",
        name: "Part view",
        kind: State,
        set: Some(VISIBILITY),
        key: 'p',
        roles: &[Role::PartVisible],
        onset: "First picture in which the body can be judged but the head is hidden.",
        offset: Some("The head shows, or nothing can be judged."),
        not_this: Some("Code only behaviours that the visible part shows."),
        ..NOWHERE
    },
    Row {
        id: "out-of-sight",
        name: "Out of sight",
        kind: State,
        set: Some(VISIBILITY),
        key: 'o',
        roles: &[Role::Excluded],
        onset: "First picture in which nothing codable is visible, for whatever reason.",
        offset: Some("First picture in which head or body can be judged again."),
        not_this: Some("Hiding that was seen to begin: code cover as well, it goes on underneath."),
        details: &["cover", "handler", "frame", "light", "file gap"],
        ..NOWHERE
    },
    Row {
        id: "still-relaxed",
        name: "Still, relaxed",
        kind: State,
        set: Some(ACTIVITY),
        key: 'r',
        onset: "First picture without displacement, neck and body carried low or on the ground, normal breathing.",
        offset: Some("Any other activity begins."),
        ..NOWHERE
    },
    Row {
        id: "still-alert",
        name: "Still, alert",
        kind: State,
        set: Some(ACTIVITY),
        key: 'a',
        onset: "First picture without displacement, head raised or neck extended and held, eyes open; the head may turn.",
        offset: Some("Any other activity begins."),
        ..NOWHERE
    },
    Row {
        id: "freeze",
        name: "Freeze",
        kind: State,
        set: Some(ACTIVITY),
        key: 'z',
        roles: &[Role::Freeze],
        concern: Concern::WatchThenStopAfter(30),
        onset: "First picture in which all movement but breathing has stopped, within 1 s of an identifiable stimulus, posture held mid-action.",
        offset: Some("First picture with movement again."),
        minimum: Some("3 s"),
        ..NOWHERE
    },
    Row {
        id: "move",
        name: "Move about",
        kind: State,
        set: Some(ACTIVITY),
        key: 'm',
        onset: "First picture of a whole-body displacement, not at a barrier.",
        offset: Some("Displacement has stopped for 2 s: the picture at which it stopped."),
        minimum: Some("1 head length"),
        ..NOWHERE
    },
    Row {
        id: "explore",
        name: "Explore",
        kind: State,
        set: Some(ACTIVITY),
        key: 'e',
        onset: "First of repeated tongue-flicks or nose contacts at object or air, during slow movement or stillness.",
        offset: Some("5 s without another: the picture after the last."),
        minimum: Some("2 in 5 s"),
        ..NOWHERE
    },
    Row {
        id: "feed",
        name: "Feed",
        kind: State,
        set: Some(ACTIVITY),
        key: 'f',
        roles: &[Role::Feed],
        onset: "First picture with food in the mouth.",
        offset: Some("After the last swallow or bite of that item."),
        ..NOWHERE
    },
    Row {
        id: "cover",
        name: "Cover, withdraw",
        kind: State,
        set: Some(ACTIVITY),
        key: 'c',
        roles: &[Role::Hide],
        taxa: &[Chelonian],
        concern: Concern::WatchThenStopAfter(60),
        onset: "First picture with head and forelimbs drawn in so that the eyes are behind the shell's edge.",
        offset: Some("First picture with the eyes in front of the shell's edge."),
        minimum: Some("2 s"),
        ..NOWHERE
    },
    Row {
        id: "cover",
        name: "Cover, withdraw",
        kind: State,
        set: Some(ACTIVITY),
        key: 'c',
        roles: &[Role::Hide],
        taxa: &[Snake],
        concern: Concern::WatchThenStopAfter(60),
        onset: "First picture with the head under its own coils or under cover.",
        offset: Some("First picture with the head out."),
        minimum: Some("2 s"),
        ..NOWHERE
    },
    Row {
        id: "cover",
        name: "Cover, withdraw",
        kind: State,
        set: Some(ACTIVITY),
        key: 'c',
        roles: &[Role::Hide],
        taxa: &[Lizard],
        concern: Concern::WatchThenStopAfter(60),
        onset: "First picture with the head pressed under cover or flat to the ground, eyes shut or hidden.",
        offset: Some("First picture with the head lifted or out."),
        minimum: Some("2 s"),
        ..NOWHERE
    },
    Row {
        id: "barrier",
        name: "Barrier work",
        kind: State,
        set: Some(ACTIVITY),
        key: 'b',
        roles: &[Role::Escape],
        concern: Concern::WatchThenStopTotal(60),
        onset: "First of repeated pushes, climbs, digs or rubs at wall, door or glass.",
        offset: Some("5 s without another: the picture after the last."),
        minimum: Some("3 in 10 s"),
        ..NOWHERE
    },
    Row {
        id: "flee",
        name: "Flee",
        kind: State,
        set: Some(ACTIVITY),
        key: 'l',
        roles: &[Role::Escape, Role::Retreat],
        taxa: &[Snake, Lizard],
        concern: Concern::Always(Stop),
        onset: "First picture of fast displacement away from the reference.",
        offset: Some("First picture at ordinary speed or at rest."),
        minimum: Some("2 body lengths in 2 s or less"),
        ..NOWHERE
    },
    Row {
        id: "flee",
        name: "Flee",
        kind: State,
        set: Some(ACTIVITY),
        key: 'l',
        roles: &[Role::Escape, Role::Retreat],
        taxa: &[Chelonian],
        concern: Concern::Always(Stop),
        onset: "First picture of its fastest gait away from the reference.",
        offset: Some("First picture at ordinary speed or at rest."),
        minimum: Some("3 steps"),
        ..NOWHERE
    },
    Row {
        id: "defensive",
        name: "Defensive display",
        kind: State,
        set: Some(ACTIVITY),
        key: 'd',
        roles: &[Role::Defensive],
        taxa: &[Snake, Lizard],
        concern: Concern::Always(Stop),
        onset: "First picture of any of: inflation with hiss, head drawn back in an S, flattened hood or neck or raised beard, gape at the handler, tail raised or lashing, ball posture.",
        offset: Some("Posture given up."),
        ..NOWHERE
    },
    Row {
        id: "defensive",
        name: "Defensive display",
        kind: State,
        set: Some(ACTIVITY),
        key: 'd',
        roles: &[Role::Defensive],
        taxa: &[Chelonian],
        concern: Concern::Always(Stop),
        onset: "First picture of a hiss with rapid withdrawal that repeats or is held.",
        offset: Some("Posture given up."),
        not_this: Some("A single hiss as the head goes in is air pressed out: code head draw-back and hiss."),
        ..NOWHERE
    },
    Row {
        id: "held",
        name: "Held",
        kind: State,
        set: Some(ACTIVITY),
        key: 'h',
        roles: &[Role::Handling],
        onset: "First picture in which the handler's hand or tool bears weight or blocks movement.",
        offset: Some("First picture free of it."),
        ..NOWHERE
    },
    Row {
        id: "other",
        name: "Other",
        kind: State,
        set: Some(ACTIVITY),
        key: 'x',
        onset: "Visible, and none of the others: write a note.",
        offset: Some("Any other activity begins."),
        ..NOWHERE
    },
    Row {
        id: "orient",
        name: "Orient",
        key: 'o',
        roles: &[Role::Orient],
        onset: "First picture of a turn of the head that brings the snout within about 30° of the reference.",
        minimum: Some("held 0.5 s"),
        ..NOWHERE
    },
    Row {
        id: "approach",
        name: "Approach start",
        key: 'a',
        roles: &[Role::Approach],
        onset: "First picture of an advance that then gains ground towards the reference without a pause over 3 s.",
        minimum: Some("1 head length"),
        not_this: Some("The handler or the target coming nearer."),
        ..NOWHERE
    },
    Row {
        id: "retreat",
        name: "Retreat start",
        key: 'r',
        roles: &[Role::Retreat],
        concern: Concern::InPresentation(Watch),
        onset: "First picture of movement that then adds distance from the reference.",
        minimum: Some("1 head length"),
        not_this: Some("The handler or the target going away; a pull of the head alone."),
        ..NOWHERE
    },
    Row {
        id: "draw-back",
        name: "Head draw-back",
        key: 'd',
        roles: &[Role::DrawBack],
        concern: Concern::Always(Watch),
        onset: "First picture of a fast pull of head or neck, feet and body still.",
        minimum: Some("half a head length within 0.5 s"),
        ..NOWHERE
    },
    Row {
        id: "turn-away",
        name: "Turn away",
        key: 'w',
        onset: "First picture of the head turned more than 90° from the reference during a presentation.",
        minimum: Some("2 s"),
        ..NOWHERE
    },
    Row {
        id: "contact",
        name: "Target contact",
        key: 'c',
        roles: &[Role::Contact, Role::Success],
        onset: "First picture in which the snout touches the target.",
        not_this: Some("A limb; the handler pushing the target in."),
        ..NOWHERE
    },
    Row {
        id: "station",
        name: "Station held",
        key: 's',
        roles: &[Role::Success],
        onset: "First picture at which all named body parts have been on mat, scale or box for the required time.",
        ..NOWHERE
    },
    Row {
        id: "take-food",
        name: "Take food",
        key: 'f',
        roles: &[Role::Feed],
        onset: "First picture with the jaws closed on the item.",
        ..NOWHERE
    },
    Row {
        id: "refuse-food",
        name: "Refuse food",
        key: 'n',
        roles: &[Role::Refuse],
        concern: Concern::Always(Watch),
        onset: "Picture at which food has been offered within 2 head lengths for 10 s and not been taken.",
        ..NOWHERE
    },
    Row {
        id: "tongue-flick",
        name: "Tongue-flick, air",
        key: 't',
        taxa: &[Snake, Lizard],
        onset: "Tongue out and in without contact: one count a cycle.",
        ..NOWHERE
    },
    Row {
        id: "tongue-touch",
        name: "Tongue-touch, object",
        key: 'u',
        taxa: &[Snake, Lizard],
        onset: "Tongue out and in with contact: one count a cycle.",
        ..NOWHERE
    },
    Row {
        id: "head-bob",
        name: "Head-bob, arm-wave",
        key: 'b',
        taxa: &[Lizard],
        onset: "First picture of the rhythmic display.",
        minimum: Some("2 cycles"),
        ..NOWHERE
    },
    Row {
        id: "hiss",
        name: "Hiss",
        key: 'h',
        roles: &[Role::Defensive],
        concern: Concern::StopButChelonianWatch,
        onset: "First picture or sound of a forced breath out.",
        ..NOWHERE
    },
    Row {
        id: "gape",
        name: "Gape",
        key: 'g',
        roles: &[Role::Defensive],
        taxa: &[Snake, Lizard],
        concern: Concern::WatchDirectedStop,
        onset: "First picture with the mouth open, not feeding.",
        minimum: Some("1 s"),
        not_this: Some("A basking animal may gape against heat: note it."),
        details: &["directed at the handler", "basking"],
        ..NOWHERE
    },
    Row {
        id: "strike",
        name: "Lunge or strike",
        key: 'k',
        roles: &[Role::Defensive],
        concern: Concern::Always(Stop),
        onset: "First picture of a fast throw of the head towards person or tool, without contact.",
        ..NOWHERE
    },
    Row {
        id: "bite",
        name: "Bite",
        key: 'i',
        roles: &[Role::Defensive],
        concern: Concern::Always(Stop),
        onset: "First picture with the jaws closed on person or tool.",
        ..NOWHERE
    },
    Row {
        id: "tail-lash",
        name: "Tail lash",
        key: 'l',
        roles: &[Role::Defensive],
        taxa: &[Lizard],
        concern: Concern::Always(Stop),
        onset: "First picture of a sideways whip of the tail.",
        ..NOWHERE
    },
    Row {
        id: "tail-vibrate",
        name: "Tail vibrate",
        key: 'v',
        roles: &[Role::Defensive],
        taxa: &[Snake],
        concern: Concern::Always(Watch),
        onset: "First picture of rapid vibration of the tail.",
        ..NOWHERE
    },
    Row {
        id: "elimination",
        name: "Elimination, musk",
        key: 'e',
        concern: Concern::Always(Watch),
        onset: "Faeces, urates or musk let go while handled or within 30 s of contact.",
        ..NOWHERE
    },
    Row {
        id: "darken",
        name: "Colour darkens",
        key: 'y',
        taxa: &[Lizard],
        concern: Concern::Always(Watch),
        onset: "Picture at which throat or body has clearly darkened within 60 s.",
        ..NOWHERE
    },
    Row {
        id: "open-mouth-breathing",
        name: "Open-mouth breathing",
        key: 'm',
        concern: Concern::Always(Stop),
        onset: "First of repeated breaths with the mouth open, no gape display. Contact a licensed veterinarian.",
        ..NOWHERE
    },
    Row {
        id: "session-start",
        name: "Session begins",
        who: Handler,
        key: '1',
        roles: &[Role::SessionStart],
        onset: "By the house's written rule, for instance the first picture with the keeper within 2 m.",
        ..NOWHERE
    },
    Row {
        id: "session-end",
        name: "Session ends",
        who: Handler,
        key: '2',
        roles: &[Role::SessionEnd],
        onset: "By the house's written rule, for instance the picture at which the door is latched.",
        ..NOWHERE
    },
    Row {
        id: "enclosure-opened",
        name: "Enclosure opened",
        who: Handler,
        key: '3',
        onset: "First picture of a gap.",
        ..NOWHERE
    },
    Row {
        id: "enclosure-closed",
        name: "Enclosure closed",
        who: Handler,
        key: '4',
        onset: "Last picture of a gap.",
        ..NOWHERE
    },
    Row {
        id: "cue",
        name: "Cue shown",
        kind: State,
        who: Handler,
        key: 'q',
        roles: &[Role::Cue],
        onset: "First picture with the target in its start position where the animal could see it.",
        offset: Some("First picture with the target taken away."),
        ..NOWHERE
    },
    Row {
        id: "marker",
        name: "Marker given",
        who: Handler,
        key: 'm',
        roles: &[Role::Marker],
        onset: "First picture of click, word or light.",
        ..NOWHERE
    },
    Row {
        id: "food",
        name: "Food delivered",
        who: Handler,
        key: 'f',
        roles: &[Role::Food],
        onset: "First picture with the item within 2 head lengths of the mouth.",
        ..NOWHERE
    },
    Row {
        id: "touch",
        name: "Touch",
        kind: State,
        who: Handler,
        key: 't',
        roles: &[Role::Handling],
        onset: "First picture with hand or tool on the animal.",
        offset: Some("First picture without."),
        ..NOWHERE
    },
    Row {
        id: "reach-in",
        name: "Reach in",
        kind: State,
        who: Handler,
        key: 'r',
        onset: "First picture with a hand across the enclosure's line without a target.",
        offset: Some("First picture with it out again."),
        ..NOWHERE
    },
    Row {
        id: "back-off",
        name: "Handler backs off",
        who: Handler,
        key: 'b',
        roles: &[Role::BackOff],
        onset: "First picture of a clear increase of distance: hand or target withdrawn by a forearm or more, a step back, the opening closed.",
        ..NOWHERE
    },
    Row {
        id: "prompt",
        name: "Prompt, lure",
        who: Handler,
        key: 'p',
        roles: &[Role::Prompt],
        onset: "First picture of target or food being moved to draw the animal.",
        ..NOWHERE
    },
    Row {
        id: "abort",
        name: "Broken off",
        who: Handler,
        key: 'a',
        roles: &[Role::Abort],
        onset: "Picture at which the handler breaks the presentation off for safety or because of a stop-level behaviour.",
        ..NOWHERE
    },
    Row {
        id: "void",
        name: "Does not count",
        who: Handler,
        key: 'v',
        roles: &[Role::Void],
        onset: "Any picture of a presentation that does not count: write the reason.",
        ..NOWHERE
    },
    Row {
        id: "disturbance",
        name: "Disturbance",
        kind: State,
        who: Handler,
        key: 'd',
        roles: &[Role::Disturbance],
        onset: "First picture or sound of noise, person or animal from outside: note the source.",
        offset: Some("First picture without it."),
        ..NOWHERE
    },
];

#[cfg(test)]
mod tests {
    use super::super::validate;
    use super::*;

    #[test]
    fn every_starter_is_sound_and_every_behaviour_has_its_pass_and_key() {
        for taxon in Taxon::ALL {
            let ethogram = ethogram(taxon);
            assert_eq!(validate::ethogram(&ethogram), [], "{taxon:?}");
            for behaviour in &ethogram.behaviours {
                let passes =
                    ethogram.passes.iter().filter(|pass| pass.behaviours.contains(&behaviour.id)).count();
                assert_eq!(passes, 1, "{} is in one pass", behaviour.name);
                assert!(behaviour.key.is_some(), "{} has a key", behaviour.name);
                assert!(behaviour.fits(Some(taxon)));
            }
        }
    }
}
