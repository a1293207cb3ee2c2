package sim
import ("testing";"time";"fmt";"os";"strconv")
func TestZZ(t *testing.T){
 seeds:=[]uint64{1,4}
 plan:=DefaultPlan; end:=120*time.Minute; step:=3*time.Minute
 if os.Getenv("DAY")!="" {plan=DayPlan; end=14*time.Hour; step=10*time.Minute; seeds=seeds[:1]}
 if s:=os.Getenv("STEP"); s!="" {step,_=time.ParseDuration(s)}
 from:=time.Duration(0)
 if s:=os.Getenv("FROM"); s!="" {from,_=time.ParseDuration(s)}
 if s:=os.Getenv("TO"); s!="" {end,_=time.ParseDuration(s)}
 if s:=os.Getenv("SEED"); s!="" {n,_:=strconv.Atoi(s);seeds=[]uint64{uint64(n)}}
 for _, seed := range seeds {
 r:=NewRig(dawn,plan(),seed)
 if f:=os.Getenv("F"); f!="" { at:=46*time.Minute; if s:=os.Getenv("AT"); s!="" {at,_=time.ParseDuration(s)}; if err:=r.Inject(f,at); err!=nil {t.Fatal(err)} }
 for at:=from;at<=end;at+=step{
  n:=dawn.Add(at); a:=r.WallNear(n)
  m:=&r.machine
  fmt.Printf("%5.1f near %4.0f far %4.0f out %4.0f fin %5.1f fo %5.1f ret %4.0f suc %5.0f drop %5.0f co %5.1f rpm %4.0f kg %.3f | hearth %5.0f gas %.4f eng %.4f CO %.3f CO2 %.3f H2 %.3f H2O %.3f O2 %.3f LHV %.2f A %.2f load %.2f dust %.1fg water %.1fg fire %.2f thr %.2f valve %.2f back %.3f own %.2f\n",at.Minutes(),a,r.WallFar(n),r.GasOut(n),r.FilterIn(n),r.FilterOut(n),r.ReturnLine(n),r.Suction(n),r.FilterDrop(n),r.CO(n),r.Speed(n),r.CharcoalLeft(n),m.hearth,m.gas,m.engineGas,m.made[0],m.made[1],m.made[2],m.made[3],m.made[7],r.Strength(n)/1e6,m.made.AirNeed(.2095),r.FilterLoad(n),m.dust*1e3,m.water*1e3,m.fire,m.throttle,m.valve/valve0,m.back,m.own())
 }}
}
