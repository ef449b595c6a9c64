//! Hands the linker the memory map, wherever the build is started from.

fn main() {
    println!("cargo::rerun-if-changed=memory.x");
    println!("cargo::rustc-link-search={}", env!("CARGO_MANIFEST_DIR"));
    println!("cargo::rustc-link-arg-bins=-Tlink.x");
    println!("cargo::rustc-link-arg-bins=--nmagic");
}
