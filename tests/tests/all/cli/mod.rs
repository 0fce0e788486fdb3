//! The command line, driven from outside.

mod contract;
mod files;
mod measure;
mod readings;
mod routine;
mod sitting;
mod tables;
mod usage;
mod words;
mod wrapped;

use takeup_tests::Folder;

/// Every command with its help, those of commands too.
fn all_help(folder: &Folder) -> Vec<(String, String)> {
    let mut all = Vec::new();
    let mut left = vec![String::new()];
    while let Some(command) = left.pop() {
        let help = folder.takeup(&format!("{command} --help")).done().exit(0).stdout;
        let listed = help.split("\nCommands:\n").nth(1).and_then(|rest| rest.split("\n\n").next());
        let names = listed.into_iter().flat_map(str::lines).filter_map(|line| {
            let name = line.strip_prefix("  ")?.split(' ').next()?;
            (!name.is_empty() && name != "help").then_some(name)
        });
        left.extend(names.map(|name| format!("{command} {name}").trim_start().to_owned()));
        all.push((command, help));
    }
    assert!(all.len() > 45, "{}", all.len());
    all
}
