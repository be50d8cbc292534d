//! `password`: lines for the embedded broker's password file.

use super::program::Folder;

#[test]
fn a_password_becomes_a_line_with_a_salted_hash() {
    let folder = Folder::new();
    let line = || folder.basinward_hearing("correct horse\n", &["password", "shed-node"]).out;
    let (first, second) = (line(), line());
    // PHC string format, as RFC 9106's reference implementation writes it.
    assert!(first.starts_with("shed-node:$argon2id$v=19$"), "{first}");
    assert!(!first.contains("correct horse"));
    assert_ne!(first, second, "two lines share their salt");
}

#[test]
fn names_and_passwords_that_cannot_work_are_refused() {
    let folder = Folder::new();
    for (user, password) in [("a:b", "x\n"), ("#a", "x\n"), ("", "x\n"), ("a", "\n"), ("a", "")] {
        let ended = folder.basinward_hearing(password, &["password", user]);
        assert_eq!(ended.code, Some(2), "{user:?} {password:?}");
        assert_eq!(ended.out, "");
    }
}
