//! The tables to work with: ours, and what an operator laid over them.

use crate::base::problem::file_words;
use crate::tables::catalogue::fault::Fault;
use crate::tables::catalogue::overlay::Overlay;
use crate::tables::catalogue::{Catalogue, TableFile};
use std::collections::BTreeMap;
use std::path::Path;
use std::{fmt, fs, io};

/// Why there are no tables to work with.
#[derive(Debug)]
pub enum BadTables {
    /// The operator's folder cannot be read.
    Folder(io::ErrorKind),
    /// Every fault as `path:line: what`.
    Faults(Vec<String>),
}

impl fmt::Display for BadTables {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Folder(kind) => write!(formatter, "the folder of tables: {}", file_words(*kind)),
            Self::Faults(faults) => write!(
                formatter,
                "the tables have faults, so nothing was begun\n{}",
                faults.join("\n")
            ),
        }
    }
}

impl std::error::Error for BadTables {}

/// Our tables, with those of an operator's folder laid over them where one is named.
///
/// # Errors
/// [`BadTables`] with every fault of every row: with a bad table nothing may start.
pub fn load(dir: Option<&Path>) -> Result<Catalogue, BadTables> {
    let Some(dir) = dir else {
        return Catalogue::embedded()
            .map_err(|faults| BadTables::Faults(faults.iter().map(ToString::to_string).collect()));
    };
    let folder = Folder::read(dir).map_err(|cause| BadTables::Folder(cause.kind()))?;
    let files = folder.files();
    let (catalogue, faults) = folder.judge(&Overlay::new(&files));
    catalogue.ok_or_else(|| {
        let told = faults.iter().map(|fault| {
            let path = folder.path(dir, &fault.file);
            format!("{path}:{}: {}", fault.line, fault.what)
        });
        BadTables::Faults(told.collect())
    })
}

/// What an operator's folder holds, by name under it.
#[derive(Debug, Default)]
pub struct Folder {
    texts: BTreeMap<String, String>,
    unreadable: Vec<Fault>,
    /// Left aside on purpose: hidden files, and what is generated from the tables.
    pub aside: Vec<String>,
}

impl Folder {
    /// Reads the folder and its `scales/`; anything else in it becomes a file no table has.
    ///
    /// # Errors
    /// When the folder itself cannot be read; a file that cannot be is a fault of its own.
    pub fn read(dir: &Path) -> io::Result<Self> {
        let mut folder = Self::default();
        folder.under(dir, "")?;
        folder.aside.sort();
        Ok(folder)
    }

    fn under(&mut self, dir: &Path, before: &str) -> io::Result<()> {
        for entry in fs::read_dir(dir)? {
            let path = entry?.path();
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            let name = format!("{before}{name}");
            if name.starts_with('.') || name.contains("/.") || matches!(&*name, "fhir" | "r4") {
                self.aside.push(name);
            } else if path.is_dir() && name == "scales" {
                self.under(&path, "scales/")?;
            } else if path.is_dir() {
                self.texts.insert(name, String::new());
            } else {
                self.file(&path, name);
            }
        }
        Ok(())
    }

    fn file(&mut self, path: &Path, name: String) {
        let what = match fs::read(path).map(String::from_utf8) {
            Ok(Ok(text)) => {
                self.texts.insert(name, text);
                return;
            }
            Ok(Err(_bytes)) => "it is not UTF-8".to_owned(),
            Err(cause) => format!("it cannot be read: {}", file_words(cause.kind())),
        };
        self.unreadable.push(Fault {
            file: name,
            line: 0,
            what,
        });
    }

    /// Its files as tables.
    pub fn files(&self) -> Vec<TableFile<'_>> {
        let files = self.texts.iter();
        files.map(|(name, text)| TableFile { name, text }).collect()
    }

    /// The tables, or every fault of them and of the folder.
    pub fn judge(&self, overlay: &Overlay<'_>) -> (Option<Catalogue>, Vec<Fault>) {
        let (catalogue, mut faults) = match overlay.read() {
            Ok(catalogue) => (Some(catalogue), Vec::new()),
            Err(faults) => (None, faults),
        };
        faults.extend(self.unreadable.iter().cloned());
        faults.sort();
        (catalogue.filter(|_| faults.is_empty()), faults)
    }

    /// The path of a table: the operator's own, or ours.
    pub fn path(&self, dir: &Path, file: &str) -> String {
        let unreadable = || self.unreadable.iter().any(|one| one.file == file);
        if self.texts.contains_key(file) || unreadable() {
            dir.join(file).display().to_string()
        } else {
            format!("profiles/{file}")
        }
    }
}
