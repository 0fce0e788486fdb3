//! Reading sheets filled in, and files that are refused.

use takeup_tests::Folder;

/// Fills cells of a sheet, row by row from 1, in place of what stands in them.
pub fn fill(sheet: &str, mut cells: impl FnMut(u32) -> Vec<(&'static str, String)>) -> String {
    let mut columns: Vec<String> = Vec::new();
    let mut row = 0;
    let mut text = String::new();
    for line in sheet.lines() {
        let mut words: Vec<String> = line.split(',').map(str::to_owned).collect();
        if line.starts_with('#') {
            text.push_str(line);
        } else if columns.is_empty() {
            columns = words;
            text.push_str(line);
        } else {
            row += 1;
            for (column, value) in cells(row) {
                let index = columns.iter().position(|name| name == column).expect("the column is there");
                words[index] = value;
            }
            text.push_str(&words.join(","));
        }
        text.push('\n');
    }
    assert!(row > 0, "no rows in {sheet}");
    text
}

/// Checks that a readings file is refused with a message that says so, and nothing else.
#[track_caller]
pub fn refused(folder: &Folder, readings: &str, says: &str) {
    folder.write("bad.csv", readings);
    folder.takeup("assess bad.csv").done().refused(&[says, "bad.csv"]);
}
