package diagnosis_test
import ("testing";"fmt";"os";"time";"charwarden/sensors/sim")
func TestX(t *testing.T){
 dawn:=time.Date(2026,6,1,14,0,0,0,time.UTC)
 for _,f:=range append([]sim.Fault{{}},sim.FaultNames()...){
  if w:=os.Getenv("F"); w!="" && w!=f.Name {continue}
  r:=sim.NewRig(dawn,sim.DefaultPlan(),3)
  if f.Name!=""{ if err:=r.Inject(f.Name,46*time.Minute);err!=nil{t.Fatal(err)}}
  fmt.Println(f.Name)
  for m:=12;m<=90;m+=3{ if f.Name!=""&&m<43{continue}
   n:=dawn.Add(time.Duration(m)*time.Minute)
   fmt.Printf("%3d near %4.0f far %4.0f gas %4.0f in %4.1f out %4.1f ret %4.0f suc %5.1f drop %5.1f co %5.1f rpm %5.0f R %.3f char %.2f\n",m,r.WallNear(n),r.WallFar(n),r.GasOut(n),r.FilterIn(n),r.FilterOut(n),r.ReturnLine(n),r.Suction(n),r.FilterDrop(n),r.CO(n),r.Speed(n),r.FilterDrop(n)/mathsqrt(r.Suction(n)),r.CharcoalLeft(n))
  }}
}
func mathsqrt(x float64) float64 { if x<0 {return 1}; z:=x; for i:=0;i<40;i++{z=(z+x/z)/2}; return z }
