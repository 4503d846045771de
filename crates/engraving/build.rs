//! Nothing to build: the build-dependencies only turn on a feature of the engine's build.
fn main() {
    println!("cargo::rerun-if-changed=build.rs");
}
