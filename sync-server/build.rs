//! Lets the server be built before the web shell: the embedded folder must exist, and an empty one is replaced at run
//! time by a page that says how to build the shell.

fn main() {
    let dist = std::path::Path::new("../web-shell/dist");
    if let Err(e) = std::fs::create_dir_all(dist) {
        println!("cargo::error=cannot create the folder of the built web shell, {}: {e}", dist.display());
    }
    println!("cargo::rerun-if-changed=../web-shell/dist");
    println!("cargo::rerun-if-changed=../rulesets");
    println!("cargo::rerun-if-changed=demo");
}
