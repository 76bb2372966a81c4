//! Makes cargo look at the client's bundle again when it was rebuilt.

fn main() {
    println!("cargo::rerun-if-changed=../web/dist");
}
