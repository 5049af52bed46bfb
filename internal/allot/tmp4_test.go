package allot_test
import ("testing";"math/rand/v2";"leafturn/internal/allot";"context";"time";"fmt";"os";"os/exec";"strings";"math")
func TestLots(t *testing.T){
 for _,sd:=range []uint64{2,3}{
 p:=instance(rand.New(rand.NewPCG(sd,2)),200,24,true)
 os.WriteFile("/tmp/l.lp",asLP(p),0o600)
 exec.Command("cbc","/tmp/l.lp","-sec","100","-solve","-solu","/tmp/l.sol").Run()
 b,_:=os.ReadFile("/tmp/l.sol")
 set:=map[int]bool{}
 for _,l:=range strings.Split(string(b),"\n"){ var i int; var n string; var v,rc float64; if k,_:=fmt.Sscan(l,&i,&n,&v,&rc);k==4&&strings.HasPrefix(n,"y_")&&v>0.5{var c int;fmt.Sscanf(n,"y_%d",&c);set[c]=true}}
 fmt.Println("LOTS",sd,set)
 for i:=range p.Beds{for w:=range 2{ v:=append([]float64(nil),p.Beds[i].Value[w]...); for c:=1;c<len(v);c++{if !set[c]{v[c]=math.NaN()}}; p.Beds[i].Value[w]=v}}
 ctx,cn:=context.WithTimeout(context.Background(),8*time.Second); bg:=time.Now()
 g,_:=allot.Solve(ctx,p,allot.Options{}); cn()
 fmt.Printf("LOTS %d %.4f %.4f %v %d %.2fs\n",sd,g.Value,g.Bound,g.Proved,g.Nodes,time.Since(bg).Seconds())
 }
}
