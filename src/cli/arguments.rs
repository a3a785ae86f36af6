//! What can be typed. Help texts are written for keepers.

use std::io::Write;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::{Args, CommandFactory as _, Parser, Subcommand};
use clap_complete::Shell;

use super::{CommandResult, FINE};
use crate::export::csv::Decimal;
use crate::time::{FrameNumber, Micros};

/// Step through a filmed training session frame by frame, code it, and get the numbers.
#[derive(Debug, Parser)]
#[command(name = "shedlight", version, args_conflicts_with_subcommands = true, max_term_width = 100)]
pub struct Arguments {
    /// A study folder or a video file to open in the window
    pub target: Option<PathBuf>,
    /// Open this session of the study
    #[arg(long, value_name = "ID", requires = "target")]
    pub session: Option<String>,
    /// Go to this time of the session: seconds (83.5) or minutes and seconds (1:23.5)
    #[arg(long, value_name = "S", requires = "session")]
    pub at: Option<Micros>,
    /// What to do instead of opening the window
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// A command.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write the demo study, draw and encode its clips, and open it
    Demo(Demo),
    /// List the frames of a clip: number, time in seconds, key frame or not
    Frames(Frames),
    /// Save one frame of a clip as a PNG picture
    Still(Still),
    /// Check random access to a clip against a straight read, and measure it on this machine
    Verify(Verify),
    /// The measures of a study, of sessions or of codings
    Summary(Summary),
    /// How well two codings of one session agree, or every such pair of a study
    Agree(Agree),
    /// The welfare summary of a study, as a document to print and sign
    Report(Report),
    /// The study in a form other tools open: CSV, Parquet, JSON, captions, annotations
    Export(Export),
    /// A stretch of a session's film, exactly cut, with or without the coding drawn below
    Cut(Cut),
    /// Take marks from CSV or Web Annotations into new codings of a study
    Import(Import),
    /// The film of a study: until when the house keeps it; what is over is deleted by a person's word alone
    Film(Film),
    /// A study as one file, to hand over to another computer
    Pack(Pack),
    /// Take a packed study in: as a new study, or into one that is there
    TakeIn(TakeIn),
    /// Look through a study: every file readable, consistent, clips found and unchanged
    Check(Check),
    /// List earlier versions of a coding, or put one back; the present one is kept first
    Restore(Restore),
    /// Take a changed or re-encoded file for a clip, with who says that it shows the same and why
    Accept(Accept),
    /// Put a coding together with a copy of it that a sync program left, mark by mark
    Merge(Merge),
    /// Let links of reports (shedlight:open?…) open this program, for you alone on this computer
    Register(Register),
    /// Take a first look at a clip, within bounds; what the other commands start before they open one
    #[command(name = "look-at-clip", hide = true)]
    LookAtClip {
        /// The clip
        clip: PathBuf,
    },
    /// Print completions for a shell
    Completions {
        /// Which shell
        shell: Shell,
    },
    /// Print the manual page
    Man,
    /// Write the JSON Schemas of the study's files
    Schema {
        /// Folder to write to
        dir: PathBuf,
    },
}

/// Arguments of `demo`.
#[derive(Debug, Args)]
pub struct Demo {
    /// Folder to write the study to [default: shedlight-demo in your documents]
    pub dir: Option<PathBuf>,
    /// Only write it
    #[arg(long)]
    pub no_window: bool,
    /// Only this session's clips (the codings are always written whole): 1 to 6
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=6))]
    pub only: Option<u8>,
    /// Write the study without any clips
    #[arg(long, conflicts_with = "only")]
    pub no_clips: bool,
}

/// Arguments of `frames`.
#[derive(Debug, Args)]
pub struct Frames {
    /// The video file
    pub clip: PathBuf,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
    /// Print comma-separated values
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// Add the stream's own timestamp and time base
    #[arg(long)]
    pub raw: bool,
}

/// Arguments of `still`.
#[derive(Debug, Args)]
#[command(group(clap::ArgGroup::new("which").required(true).args(["frame", "at"])))]
pub struct Still {
    /// The video file
    pub clip: PathBuf,
    /// Frame number, from 0
    #[arg(long, value_name = "N", value_parser = parse_frame)]
    pub frame: Option<FrameNumber>,
    /// Clip time: the frame shown at that moment
    #[arg(long, value_name = "S")]
    pub at: Option<Micros>,
    /// The PNG file to write
    #[arg(long, value_name = "F.png")]
    pub out: PathBuf,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `verify`.
#[derive(Debug, Args)]
pub struct Verify {
    /// The video file
    pub clip: PathBuf,
    /// How many frames to fetch in shuffled and in reverse order
    #[arg(long, value_name = "N", default_value_t = 200)]
    pub seeks: u32,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `summary`.
#[derive(Debug, Args)]
pub struct Summary {
    /// Study folders, session folders or coding files
    #[arg(required = true)]
    pub paths: Vec<PathBuf>,
    /// Which of them count
    #[command(flatten)]
    pub choice: Choice,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
    /// Print comma-separated values: one line a coding and behaviour
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// Also each animal over its sessions: course and trend, what follows what, what sampling would have
    /// shown, where a bout of events ends
    #[arg(long, conflicts_with = "csv")]
    pub all: bool,
}

/// Which sessions and marks a measure takes.
#[derive(Debug, Args, Default)]
pub struct Choice {
    /// Only this animal (id)
    #[arg(long, value_name = "ID")]
    pub animal: Option<String>,
    /// Only this plan step
    #[arg(long, value_name = "N")]
    pub step: Option<u32>,
    /// Only sessions from this day on (2025-03-01)
    #[arg(long, value_name = "DAY")]
    pub from: Option<NaiveDate>,
    /// Only sessions up to and with this day
    #[arg(long, value_name = "DAY")]
    pub to: Option<NaiveDate>,
    /// Leave out marks flagged unsure
    #[arg(long)]
    pub without_unsure: bool,
}

/// Arguments of `agree`.
#[allow(clippy::struct_excessive_bools)] // One for each flag.
#[derive(Debug, Args)]
pub struct Agree {
    /// Two or more coding files of one session, or a study folder
    #[arg(required = true)]
    pub paths: Vec<PathBuf>,
    /// Events match within this many seconds [default: 1, or 2 when most marks were placed live]
    #[arg(long, value_name = "S")]
    pub tolerance: Option<Micros>,
    /// Compare time in units of this many seconds, frame by frame, or exactly
    #[arg(long, value_name = "S|frame|exact", default_value = "exact", value_parser = parse_unit)]
    pub unit: Unit,
    /// Print everything: tables, sweeps, latencies, all differences
    #[arg(long)]
    pub all: bool,
    /// Put the words of this scheme beside each kappa; they are conventions
    #[arg(long, value_name = "SCHEME", value_enum)]
    pub scheme: Option<SchemeName>,
    /// List what a report of agreement has to answer (GRRAS), and what is missing
    #[arg(long, conflicts_with = "csv")]
    pub grras: bool,
    /// Coders against the study's reference codings, against themselves, and over time
    #[arg(long, conflicts_with = "grras")]
    pub training: bool,
    /// Which of them count
    #[command(flatten)]
    pub choice: Choice,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
    /// Print comma-separated values: one line a pair, set and behaviour
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
}

/// Whose words for a kappa.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum SchemeName {
    /// Landis & Koch 1977
    LandisKoch,
    /// Fleiss 1981
    Fleiss,
    /// Altman 1991
    Altman,
}

/// Units of time in which two records are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Weighted by the exact time.
    Exact,
    /// Frame by frame.
    Frame,
    /// In units of this length.
    Every(Micros),
}

/// Arguments of `report`.
#[derive(Debug, Args)]
pub struct Report {
    /// The study folder
    pub study: PathBuf,
    /// The file to write: F.pdf to print and sign, F.html to read with links to the film
    #[arg(long, value_name = "F.pdf|F.html")]
    pub out: PathBuf,
    /// Paper of a PDF
    #[arg(long, value_enum, default_value_t = PaperSize::A4)]
    pub paper: PaperSize,
    /// The day the report is dated [default: today]
    #[arg(long, value_name = "DAY")]
    pub date: Option<NaiveDate>,
    /// Replace people by pseudonyms and leave out texts that name them
    #[arg(long)]
    pub without_names: bool,
    /// For the window: print how far it is, a share a line
    #[arg(long, hide = true)]
    pub tell_progress: bool,
    /// Which sessions it is about
    #[command(flatten)]
    pub choice: Choice,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Sizes of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum PaperSize {
    /// 210 × 297 mm
    #[default]
    A4,
    /// 8.5 × 11 inches
    Letter,
}

/// Arguments of `export`.
#[derive(Debug, Args)]
pub struct Export {
    /// The study folder
    pub study: PathBuf,
    /// In which form
    #[arg(long = "as", value_name = "FORM", value_enum)]
    pub form: Form,
    /// A new or empty folder to write to
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Replace people by pseudonyms and leave out texts that name them
    #[arg(long)]
    pub without_names: bool,
    /// Which sessions are exported
    #[command(flatten)]
    pub choice: Choice,
    /// CSV: sign of the decimals; with a comma the cells stand between semicolons
    #[arg(long, value_name = "SIGN", value_parser = decimal, default_value = "point")]
    pub decimal: Decimal,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Forms of an export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Form {
    /// Tables for spreadsheets and statistics, with a dictionary
    Csv,
    /// The study's own files, and its summary
    Json,
    /// Captions, one file a clip and coding
    Webvtt,
    /// W3C Web Annotations, one file a coding
    WebAnnotation,
    /// Partitioned columns (needs a build with the feature 'parquet')
    Parquet,
}

/// Arguments of `cut`.
#[derive(Debug, Args)]
#[allow(clippy::struct_excessive_bools)] // Switches of a command.
pub struct Cut {
    /// The study folder
    pub study: PathBuf,
    /// The session
    #[arg(long, value_name = "ID")]
    pub session: String,
    /// From this session time on
    #[arg(long, value_name = "S")]
    pub from: Micros,
    /// Up to this one
    #[arg(long, value_name = "S")]
    pub to: Micros,
    /// The film to write
    #[arg(long, value_name = "F.mp4")]
    pub out: PathBuf,
    /// Draw the coding below the picture
    #[arg(long)]
    pub drawn: bool,
    /// Whose coding, when there are several [default: the first keeper's]
    #[arg(long, value_name = "PERSON", requires = "drawn")]
    pub by: Option<String>,
    /// Which camera, when there are several [default: the first]
    #[arg(long, value_name = "NAME")]
    pub camera: Option<String>,
    /// Without sound
    #[arg(long)]
    pub silent: bool,
    /// Draw the coding with pseudonyms for people and without texts that name them
    #[arg(long, requires = "drawn")]
    pub without_names: bool,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `film`.
#[derive(Debug, Args)]
pub struct Film {
    /// The study folder
    pub study: PathBuf,
    /// Only film whose period is over
    #[arg(long)]
    pub over: bool,
    /// Delete this film: a file as the list names it, whose period is over
    #[arg(long, value_name = "FILE", requires_all = ["by", "reason", "word"])]
    pub delete: Vec<PathBuf>,
    /// Code of the person who decides it
    #[arg(long, value_name = "PERSON")]
    pub by: Option<String>,
    /// Why it is deleted
    #[arg(long, value_name = "TEXT")]
    pub reason: Option<String>,
    /// The words 'delete film', so that nothing is deleted by a slip
    #[arg(long, value_name = "WORDS")]
    pub word: Option<String>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `pack`.
#[derive(Debug, Args)]
pub struct Pack {
    /// The study folder
    pub study: PathBuf,
    /// The file to write; its name should end in .shedlight.zip
    #[arg(long, value_name = "F.shedlight.zip")]
    pub out: PathBuf,
    /// With the film; without it the codings and numbers go alone
    #[arg(long)]
    pub with_film: bool,
    /// Code of the person who packs
    #[arg(long, value_name = "PERSON")]
    pub by: Option<String>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `take-in`.
#[derive(Debug, Args)]
pub struct TakeIn {
    /// The packed study
    pub parcel: PathBuf,
    /// A new folder for it, or the folder of a study to put it together with
    #[arg(long, value_name = "FOLDER")]
    pub into: PathBuf,
    /// Only say what is new and what differs; change nothing
    #[arg(long)]
    pub list: bool,
    /// Take theirs where both differ: a key as --list prints it, 'later' for every coding theirs goes on
    /// from, or 'all'
    #[arg(long, value_name = "KEY")]
    pub take: Vec<String>,
    /// Put theirs beside yours: a key of a coding, a film or another file
    #[arg(long, value_name = "KEY")]
    pub both: Vec<String>,
    /// Leave this as it is, also when it is new
    #[arg(long, value_name = "KEY")]
    pub keep: Vec<String>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `import`.
#[derive(Debug, Args)]
pub struct Import {
    /// A table of marks (.csv) or Web Annotations (.jsonld, .json)
    pub file: PathBuf,
    /// The study folder to take them into
    #[arg(long, value_name = "STUDY")]
    pub into: PathBuf,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `register`.
#[derive(Debug, Args)]
pub struct Register {
    /// Take it back
    #[arg(long)]
    pub remove: bool,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
pub struct Check {
    /// The study folder
    pub study: PathBuf,
    /// Put in order what can be: leftovers, torn journals, locks nobody holds, coding files that can't be read;
    /// every original is kept in a folder put-aside-1, -2, … of its session. Then check as without it
    #[arg(long)]
    pub repair: bool,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `restore`.
#[derive(Debug, Args)]
pub struct Restore {
    /// The coding file
    pub coding: PathBuf,
    /// The version to put back; without it they are listed
    #[arg(long = "version", value_name = "N")]
    pub number: Option<u32>,
}

/// Arguments of `accept`.
#[derive(Debug, Args)]
pub struct Accept {
    /// The session's folder
    pub session: PathBuf,
    /// The clip, by its path as the session has it; without it the clips that wait are listed
    #[arg(long, requires_all = ["by", "because"])]
    pub clip: Option<String>,
    /// Who says so: a person's code in the study
    #[arg(long, value_name = "CODE")]
    pub by: Option<String>,
    /// Why it shows the same pictures at the same times
    #[arg(long, value_name = "WORDS")]
    pub because: Option<String>,
}

/// Arguments of `merge`.
#[derive(Debug, Args)]
pub struct Merge {
    /// The coding file, which takes the copy's marks in
    pub coding: PathBuf,
    /// The copy beside it
    pub copy: PathBuf,
    /// What to take where a mark differs; without it the differences are listed and nothing is written
    #[arg(long)]
    pub prefer: Option<Prefer>,
    /// An earlier version from which both grew, so that what one side removed is removed
    #[arg(long, value_name = "N")]
    pub base: Option<u32>,
}

/// Whose mark is taken where two differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Prefer {
    /// The coding's own
    This,
    /// The copy's
    Other,
    /// Both
    Both,
}

/// Sign of the decimals of CSV.
fn decimal(text: &str) -> Result<Decimal, String> {
    match text {
        "point" => Ok(Decimal::Point),
        "comma" => Ok(Decimal::Comma),
        _ => Err("point or comma".to_owned()),
    }
}

fn parse_frame(text: &str) -> Result<FrameNumber, String> {
    text.parse().map(FrameNumber).map_err(|_| format!("'{text}' is no frame number: write 0, 1, 2 …"))
}

fn parse_unit(text: &str) -> Result<Unit, String> {
    match text {
        "exact" => Ok(Unit::Exact),
        "frame" => Ok(Unit::Frame),
        seconds => match seconds.parse::<Micros>() {
            Ok(length) if length > Micros::ZERO => Ok(Unit::Every(length)),
            _ => Err(format!("'{text}' is no unit: write seconds (1 or 0.2), frame or exact")),
        },
    }
}

pub(super) fn completions(shell: Shell, out: &mut dyn Write) -> CommandResult {
    // By way of memory: the generator panics when it can't write.
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Arguments::command(), "shedlight", &mut text);
    out.write_all(&text)?;
    Ok(FINE)
}

pub(super) fn man_page(out: &mut dyn Write) -> CommandResult {
    clap_mangen::Man::new(Arguments::command()).render(&mut { out })?;
    Ok(FINE)
}

pub(super) fn schemas(dir: &Path, out: &mut dyn Write) -> CommandResult {
    std::fs::create_dir_all(dir)?;
    for (name, text) in crate::model::schema::all()? {
        let path = dir.join(name);
        std::fs::write(&path, text)?;
        writeln!(out, "{}", path.display())?;
    }
    Ok(FINE)
}
