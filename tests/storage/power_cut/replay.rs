//! What a disk may hold after a power cut, made from the list of what a program did to it.
//!
//! The disk promises little: what a file held when it was flushed last, and the names that stood in a folder when that
//! folder was flushed last. Of everything since then any part may be there: of what was written to a file nothing, a
//! beginning, the length with zeros in it, or a later part without an earlier; of the changes of names any of them
//! without the others. A rename is one change, also between two folders, and is there once either was flushed. (Common
//! file systems keep more; none is asked to.)

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

/// A file or folder, whatever its name is.
type Id = usize;

#[derive(Debug, Clone)]
enum Data {
    Write { at: usize, bytes: Vec<u8> },
    Cut(usize),
}

#[derive(Debug, Clone, Default)]
struct File {
    flushed: Vec<u8>,
    since: Vec<Data>,
}

/// A change of names: out of one place, into another, or both.
#[derive(Debug, Clone)]
struct Naming {
    id: Id,
    out: Option<(Id, String)>,
    into: Option<(Id, String)>,
}

/// Which file a name in a folder leads to.
type Names = BTreeMap<(Id, String), Id>;

/// One thing the program did.
#[derive(Debug)]
pub(super) struct Op {
    what: String,
    inode: u64,
    bytes: Vec<u8>,
    path: String,
    to: String,
}

/// The list a program left.
pub(super) fn read_list(path: &Path) -> Vec<Op> {
    let bytes = fs::read(path).unwrap();
    let mut rest = bytes.as_slice();
    let mut ops = Vec::new();
    while !rest.is_empty() {
        let end = rest.iter().position(|byte| *byte == b'\n').unwrap();
        let line = std::str::from_utf8(&rest[..end]).unwrap();
        let mut parts = line.split('\t');
        let mut next = || parts.next().unwrap();
        let (what, inode, length) =
            (next().to_owned(), next().parse().unwrap(), next().parse::<usize>().unwrap());
        let (path, to) = (next().to_owned(), next().to_owned());
        let body = &rest[end + 1..];
        ops.push(Op { what, inode, bytes: body[..length].to_vec(), path, to });
        rest = &body[length..];
    }
    ops
}

/// The disk while the program runs.
pub(super) struct Disk {
    place: PathBuf,
    files: Vec<Option<File>>,
    inodes: HashMap<u64, Id>,
    names: Names,
    flushed: Names,
    since: Vec<Naming>,
    /// What the program has said, whole lines.
    pub(super) said: String,
}

const ROOT: Id = 0;

impl Disk {
    /// A folder as it is, all of it flushed.
    pub(super) fn of(place: &Path) -> Self {
        let mut disk = Self {
            place: place.canonicalize().unwrap(),
            files: vec![None],
            inodes: HashMap::new(),
            names: Names::new(),
            flushed: Names::new(),
            since: Vec::new(),
            said: String::new(),
        };
        let _ = disk.inodes.insert(fs::metadata(place).unwrap().ino(), ROOT);
        let whole = disk.place.clone();
        disk.take_in(&whole, ROOT);
        disk.flushed.clone_from(&disk.names);
        disk
    }

    fn take_in(&mut self, folder: &Path, id: Id) {
        for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
            let path = entry.path();
            let file = path.is_file().then(|| File { flushed: fs::read(&path).unwrap(), since: Vec::new() });
            let is_folder = file.is_none();
            self.files.push(file);
            let own = self.files.len() - 1;
            let _ = self.inodes.insert(entry.metadata().unwrap().ino(), own);
            let _ = self.names.insert((id, entry.file_name().into_string().unwrap()), own);
            if is_folder {
                self.take_in(&path, own);
            }
        }
    }

    /// The folder a path lies in, and its name there.
    fn place_of(&self, path: &str) -> (Id, String) {
        let inside = Path::new(path).strip_prefix(&self.place).unwrap();
        let mut folder = ROOT;
        for part in inside.parent().unwrap() {
            folder = self.names[&(folder, part.to_str().unwrap().to_owned())];
        }
        (folder, inside.file_name().unwrap().to_str().unwrap().to_owned())
    }

    fn rename(&mut self, naming: Naming) {
        change(&mut self.names, &naming);
        self.since.push(naming);
    }

    /// Lets one thing happen.
    pub(super) fn follow(&mut self, op: &Op) {
        let known = self.inodes.get(&op.inode).copied();
        match op.what.as_str() {
            "say" => self.said.push_str(std::str::from_utf8(&op.bytes).unwrap()),
            "create" | "folder" => {
                // An inode may be used again: this is another file.
                self.files.push((op.what == "create").then(File::default));
                let id = self.files.len() - 1;
                let _ = self.inodes.insert(op.inode, id);
                let into = Some(self.place_of(&op.path));
                self.rename(Naming { id, out: None, into });
            }
            "remove" => {
                let out = Some(self.place_of(&op.path));
                self.rename(Naming { id: known.unwrap(), out, into: None });
            }
            "rename" => {
                let (out, into) = (Some(self.place_of(&op.path)), Some(self.place_of(&op.to)));
                self.rename(Naming { id: known.unwrap(), out, into });
            }
            "write" => {
                let bytes = op.bytes.clone();
                self.file(known).since.push(Data::Write { at: op.path.parse().unwrap(), bytes });
            }
            "cut" => self.file(known).since.push(Data::Cut(op.path.parse().unwrap())),
            "sync" => {
                let file = self.file(known);
                file.flushed = with(&file.flushed, &file.since);
                file.since.clear();
            }
            "sync-folder" => {
                let folder = known.unwrap();
                let touches = |naming: &Naming| {
                    [&naming.out, &naming.into].into_iter().flatten().any(|(own, _)| *own == folder)
                };
                let (now, later) = std::mem::take(&mut self.since).into_iter().partition(touches);
                self.since = later;
                let now: Vec<Naming> = now;
                for naming in &now {
                    change(&mut self.flushed, naming);
                }
            }
            other => panic!("the list has something this test does not know: {other} {}", op.path),
        }
    }

    fn file(&mut self, id: Option<Id>) -> &mut File {
        self.files[id.unwrap()].as_mut().unwrap()
    }

    /// Everything as the program itself sees it.
    pub(super) fn as_seen(&self) -> State {
        self.state(&self.names, |file| with(&file.flushed, &file.since))
    }

    fn state(&self, names: &Names, content: impl Fn(&File) -> Vec<u8>) -> State {
        let mut state = State::new();
        let mut folders = vec![(ROOT, PathBuf::new())];
        while let Some((folder, path)) = folders.pop() {
            for ((_, name), id) in names.range((folder, String::new())..(folder + 1, String::new())) {
                let own = path.join(name);
                if let Some(file) = &self.files[*id] {
                    let _ = state.insert(own, Some(content(file)));
                } else {
                    let _ = state.insert(own.clone(), None);
                    folders.push((*id, own));
                }
            }
        }
        state
    }

    /// What may be there after a cut at this moment.
    pub(super) fn after_a_cut(&self) -> BTreeSet<State> {
        // Which of the changes of names are there: all choices of a few, else each beginning and each without one.
        let count = self.since.len();
        let mut chosen: Vec<Vec<bool>> = Vec::new();
        if count <= 5 {
            chosen.extend((0..1_u32 << count).map(|set| (0..count).map(|own| set >> own & 1 == 1).collect()));
        } else {
            chosen.extend((0..=count).map(|kept| (0..count).map(|own| own < kept).collect()));
            chosen.extend((0..count).map(|gone| (0..count).map(|own| own != gone).collect()));
        }
        // What is left of files: the same kind of loss for all of them, and each kind for each one alone.
        let losses = [Loss::All, Loss::None, Loss::Torn, Loss::Zeros, Loss::Hole];
        let dirty: Vec<&File> = self.files.iter().flatten().filter(|file| !file.since.is_empty()).collect();
        let mut states = BTreeSet::new();
        for chosen in chosen {
            let mut names = self.flushed.clone();
            for (naming, _) in self.since.iter().zip(chosen).filter(|(_, is_there)| *is_there) {
                change(&mut names, naming);
            }
            for loss in losses {
                let _ = states.insert(self.state(&names, |file| loss.of(file)));
                for one in dirty.iter().filter(|_| dirty.len() > 1) {
                    let content = |file: &File| {
                        if std::ptr::eq(file, *one) { loss.of(file) } else { Loss::None.of(file) }
                    };
                    let _ = states.insert(self.state(&names, content));
                }
            }
        }
        states
    }
}

/// What became of what was written to a file since it was flushed.
#[derive(Clone, Copy)]
enum Loss {
    All,
    None,
    /// The last write is half there.
    Torn,
    /// The length is there, the content is not.
    Zeros,
    /// The first write is not there, those after it are.
    Hole,
}

impl Loss {
    fn of(self, file: &File) -> Vec<u8> {
        let whole = || with(&file.flushed, &file.since);
        match (self, file.since.as_slice()) {
            (Self::All, _) | (_, []) => file.flushed.clone(),
            (Self::None, _) => whole(),
            (Self::Torn, [before @ .., Data::Write { at, bytes }]) => {
                let half = Data::Write { at: *at, bytes: bytes[..bytes.len() / 2].to_vec() };
                with(&with(&file.flushed, before), &[half])
            }
            (Self::Torn, [before @ .., Data::Cut(_)]) => with(&file.flushed, before),
            (Self::Zeros, _) => {
                let mut content = whole();
                for data in &file.since {
                    if let Data::Write { at, bytes } = data {
                        let end = (at + bytes.len()).min(content.len());
                        content.get_mut(*at..end).unwrap_or_default().fill(0);
                    }
                }
                content
            }
            (Self::Hole, [Data::Write { at, bytes }, ..]) => {
                let mut content = whole();
                let end = (at + bytes.len()).min(content.len());
                content.get_mut(*at..end).unwrap_or_default().fill(0);
                content
            }
            (Self::Hole, [Data::Cut(_), after @ ..]) => with(&file.flushed, after),
        }
    }
}

fn with(content: &[u8], since: &[Data]) -> Vec<u8> {
    let mut content = content.to_vec();
    for data in since {
        match data {
            Data::Write { at, bytes } => {
                content.resize(content.len().max(at + bytes.len()), 0);
                content[*at..at + bytes.len()].copy_from_slice(bytes);
            }
            Data::Cut(length) => content.resize(*length, 0),
        }
    }
    content
}

fn change(names: &mut Names, naming: &Naming) {
    if let Some(out) = &naming.out
        && names.get(out) == Some(&naming.id)
    {
        let _ = names.remove(out);
    }
    if let Some(into) = &naming.into {
        let _ = names.insert(into.clone(), naming.id);
    }
}

/// Files with their content, and folders, by their paths.
pub(super) type State = BTreeMap<PathBuf, Option<Vec<u8>>>;

/// A real folder as a state.
pub(super) fn state_of(place: &Path) -> State {
    Disk::of(place).as_seen()
}

/// Makes a folder of a state.
pub(super) fn make(state: &State, place: &Path) {
    let _ = fs::remove_dir_all(place);
    fs::create_dir(place).unwrap();
    for (path, content) in state {
        match content {
            None => fs::create_dir_all(place.join(path)).unwrap(),
            Some(content) => fs::write(place.join(path), content).unwrap(),
        }
    }
}
