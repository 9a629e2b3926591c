use railtrue::input::*; use railtrue::structure::*; use railtrue::study::*;
#[test] fn x(){
 for f in ["panel-bridge","tile-scanner","glass-loader"] {
 let t=std::fs::read_to_string(format!("examples/{f}.toml")).unwrap();
 let p=read_plan(&t,"panel-bridge.toml").unwrap_or_else(|e|panic!("{e}"));
 for a in 0..p.arrangements.len() {
  let e=Evaluator::new(Machine::new(&p,a).unwrap(),p.study.drag).unwrap();
  let t0=std::time::Instant::now();
  let w=worst_case(&e,Effort::QUICK,&||false).unwrap();
  println!("== {f} {} {:?} branches {} no_bound {:?} stops {}",w.arrangement,t0.elapsed(),w.branches,w.no_bound,w.stops_possible);
  for b in &w.brackets { println!("  {:24} perfect {:10.4} attained {:10.4} bound {:?} gap {:?}",b.key,b.perfect,b.attained,b.bound,b.gap()); }
 }}
}
