//! Layouts kept in a folder.
#![cfg(feature = "files")]
#![allow(clippy::unwrap_used)]

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use misread::file::{Catalogue, FileProblem, LayoutDoc};

fn testdata(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/layouts").join(name)
}

/// The names and contents of a folder's files.
fn contents(dir: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<_> = fs::read_dir(dir)
        .unwrap()
        .map(|item| {
            let path = item.unwrap().path();
            (path.file_name().unwrap().to_str().unwrap().to_owned(), fs::read(path).unwrap())
        })
        .collect();
    files.sort();
    files
}

fn names(dir: &Path) -> Vec<String> {
    contents(dir).into_iter().map(|(name, _)| name).collect()
}

#[test]
fn a_folder_gives_its_sound_layouts_and_says_what_is_wrong_with_the_others() {
    let mut catalogue = Catalogue::built_in();
    let built_in = catalogue.entries().len();
    let refused = catalogue.add_folder(&testdata("")).unwrap();
    let added: Vec<_> = catalogue.entries()[built_in..].iter().map(|entry| entry.name()).collect();
    assert_eq!(added, ["slipway-33"]);
    let refused: Vec<_> =
        refused.iter().map(|error| error.path.file_name().unwrap().to_str().unwrap()).collect();
    assert_eq!(
        refused,
        [
            "backwards.json",
            "cut-off.json",
            "fascn-200.toml", // its name is a built-in layout's
            "missing-key.json",
            "overlapping.toml",
            "unknown-key.toml",
            "wrong-kind.toml"
        ]
    );
}

#[test]
fn a_folder_that_is_not_there_is_told_apart() {
    let dir = tempfile::tempdir().unwrap();
    let error = Catalogue::built_in().add_folder(&dir.path().join("none")).unwrap_err();
    assert!(matches!(error.problem, FileProblem::Read(e) if e.kind() == ErrorKind::NotFound));
}

#[test]
fn what_is_no_layout_file_is_passed_over() {
    let dir = tempfile::tempdir().unwrap();
    fs::copy(testdata("slipway-33.toml"), dir.path().join("a.TOML")).unwrap();
    fs::write(dir.path().join("notes.txt"), "slipway").unwrap();
    fs::write(dir.path().join(".half.toml"), "name = ").unwrap();
    fs::create_dir(dir.path().join("old.toml")).unwrap();
    let mut catalogue = Catalogue::built_in();
    assert!(catalogue.add_folder(dir.path()).unwrap().is_empty());
    assert!(catalogue.get("slipway-33").is_some());
}

#[test]
fn a_layout_is_kept_under_its_name_byte_by_byte() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("kept").join("layouts");
    let saved = Catalogue::save_into(&folder, &testdata("slipway-33.toml"), false).unwrap();
    assert_eq!(saved, folder.join("slipway-33.toml"));
    assert_eq!(fs::read(saved).unwrap(), fs::read(testdata("slipway-33.toml")).unwrap());
    assert_eq!(names(&folder), ["slipway-33.toml"]);

    // Without an extension the text decides what it is kept as.
    let other = tempfile::tempdir().unwrap();
    let plain = dir.path().join("plain");
    let doc = LayoutDoc::of(&Catalogue::load_file(testdata("slipway-33.toml")).unwrap());
    fs::write(&plain, doc.to_json()).unwrap();
    Catalogue::save_into(other.path(), &plain, false).unwrap();
    assert_eq!(names(other.path()), ["slipway-33.json"]);
}

#[test]
fn a_kept_layout_gives_way_only_when_that_is_asked_for() {
    let dir = tempfile::tempdir().unwrap();
    let source = dir.path().join("new.json");
    let folder = dir.path().join("layouts");
    fs::create_dir(&folder).unwrap();
    // Kept by hand, under a file name of its own.
    fs::copy(testdata("slipway-33.toml"), folder.join("gate.toml")).unwrap();
    let mut doc = LayoutDoc::of(&Catalogue::load_file(testdata("slipway-33.toml")).unwrap());
    doc.title = Some("Slipway gate, second batch of cards".to_owned());
    fs::write(&source, doc.to_json()).unwrap();

    let before = contents(&folder);
    let error = Catalogue::save_into(&folder, &source, false).unwrap_err();
    assert_eq!(
        error.to_string(),
        format!(
            "{}: a layout named slipway-33 is kept already, in {}",
            source.display(),
            folder.join("gate.toml").display()
        )
    );
    assert_eq!(contents(&folder), before);

    Catalogue::save_into(&folder, &source, true).unwrap();
    assert_eq!(contents(&folder), [("slipway-33.json".to_owned(), doc.to_json().into_bytes())]);
    // And over itself.
    Catalogue::save_into(&folder, &folder.join("slipway-33.json"), true).unwrap();
    assert_eq!(contents(&folder), [("slipway-33.json".to_owned(), doc.to_json().into_bytes())]);
    assert!(Catalogue::save_into(&folder, &folder.join("slipway-33.json"), false).is_err());
}

#[test]
fn a_layout_of_another_name_never_gives_way() {
    let dir = tempfile::tempdir().unwrap();
    let mut doc = LayoutDoc::of(&Catalogue::load_file(testdata("slipway-33.toml")).unwrap());
    doc.name = "sail-loft-33".to_owned();
    fs::write(dir.path().join("slipway-33.toml"), doc.to_toml()).unwrap();
    let before = contents(dir.path());
    for replace in [false, true] {
        let file = testdata("slipway-33.toml");
        let error = Catalogue::save_into(dir.path(), &file, replace).unwrap_err();
        assert!(matches!(error.problem, FileProblem::Exists { .. }), "{error}");
        assert_eq!(contents(dir.path()), before);
    }
}

#[test]
fn an_unsound_layout_and_a_built_in_name_are_not_kept() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["overlapping.toml", "cut-off.json", "fascn-200.toml", "none.toml"] {
        for replace in [false, true] {
            assert!(Catalogue::save_into(dir.path(), &testdata(name), replace).is_err(), "{name}");
        }
    }
    assert!(names(dir.path()).is_empty());
    let error = Catalogue::save_into(dir.path(), &testdata("fascn-200.toml"), true).unwrap_err();
    assert!(
        error.to_string().ends_with("the name fascn-200 is that of a built-in layout"),
        "{error}"
    );
}

#[cfg(unix)]
#[test]
fn a_folder_that_cannot_be_written_is_left_as_it_is() {
    use std::os::unix::fs::PermissionsExt;

    // A file stands where the folder would be, which stops the superuser too.
    let dir = tempfile::tempdir().unwrap();
    let blocked = dir.path().join("layouts");
    fs::write(&blocked, "").unwrap();
    let error = Catalogue::save_into(&blocked, &testdata("slipway-33.toml"), true).unwrap_err();
    assert!(matches!(error.problem, FileProblem::Write(_)), "{error}");
    assert_eq!(names(dir.path()), ["layouts"]);

    // A kept file is as readable as any other new file of the user's.
    let plain = dir.path().join("plain");
    fs::write(&plain, "").unwrap();
    let folder = dir.path().join("kept");
    let kept = Catalogue::save_into(&folder, &testdata("slipway-33.toml"), false).unwrap();
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode();
    assert_eq!(mode(&kept), mode(&plain));
}

#[test]
fn a_file_too_large_for_a_layout_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("large.toml");
    fs::write(&path, vec![b'#'; (1 << 20) + 1]).unwrap();
    let error = Catalogue::load_file(&path).unwrap_err();
    assert_eq!(error.to_string(), format!("{}: has more than 1048576 bytes", path.display()));
}
