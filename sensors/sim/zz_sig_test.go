package sim
import ("testing";"time";"fmt";"os")
func TestYY(t *testing.T){
 at:=46*time.Minute
 for _, f := range FaultNames() {
  if w:=os.Getenv("F"); w!="" && w!=f.Name {continue}
  p:=DefaultPlan(); if os.Getenv("FULL")!="" {p.Acts=append(p.Acts,Act{At:43*time.Minute,Control:Load,To:2500})}
  a,b:=NewRig(dawn,p,4),NewRig(dawn,p,4)
  inj:=at; if f.Name=="nozzle-worn"||f.Name=="gas-escapes" {inj=0}
  if err:=a.Inject(f.Name,inj);err!=nil{t.Fatal(err)}
  fmt.Printf("== %s\n",f.Name)
  for _, d := range []time.Duration{time.Minute,3*time.Minute,6*time.Minute,11*time.Minute,  40*time.Minute, 74*time.Minute, 134*time.Minute} {
   fmt.Printf(" +%4.0f ",d.Minutes())
   for i,n := range []string{"near","far","out","fin","fout","ret","suc","drop","co","rpm"} {
     q:=[]int{qWallNear,qWallFar,qGasOut,qFilterIn,qFilterOut,qReturnLine,qSuction,qFilterDrop,qCO,qSpeed}[i]
     var x,y float64; k:=0
     for s:=-30*time.Second;s<=30*time.Second;s+=time.Second { x+=a.at(dawn.Add(at+d+s),q); y+=b.at(dawn.Add(at+d+s),q);k++}
     fmt.Printf("%s %.0f/%.0f  ",n,x/float64(k),y/float64(k))
   }
   fmt.Printf("LHV %.2f own %.2f valve %.2f thr %.2f gas %.4f/%.4f hearth %.0f\n",a.Strength(dawn.Add(at+d))/1e6,a.machine.own(),a.machine.valve/valve0,a.machine.throttle,a.machine.gas,b.machine.gas,a.machine.hearth)
  }
 }
}
