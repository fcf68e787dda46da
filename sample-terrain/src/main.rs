//! Writes the invented demonstration area into a folder.
use std::fmt::Write;
fn main() {
    let t = std::time::Instant::now();
    let relief = sample_terrain::relief::make(sample_terrain::SEED);
    let mesh = sample_terrain::parcels::make(sample_terrain::SEED);
    eprintln!("{:?} {}", t.elapsed(), mesh.parcels.len());
    let bytes: Vec<u8> = relief.terrain.heights_m.iter().flat_map(|h| h.to_le_bytes()).collect();
    std::fs::write("/tmp/sample/h.bin", bytes).unwrap();
    let mut s = String::new();
    for p in &mesh.parcels { let _ = write!(s, "P"); for q in mesh.outline(p) { let _ = write!(s, " {} {}", q.x, q.y); } s.push('\n'); }
    for p in &mesh.lanes { let _ = write!(s, "L"); for q in &p.1 { let _ = write!(s, " {} {}", q.x, q.y); } s.push('\n'); }
    let _ = write!(s, "R"); for q in &relief.river { let _ = write!(s, " {} {}", q.x, q.y); } s.push('\n');
    std::fs::write("/tmp/sample/mesh.txt", s).unwrap();
}
