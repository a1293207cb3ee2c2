package hearth

import (
	"math"

	"charwarden/sensors/derive/gas"
)

// state makes the answer of a closed balance.
func (f *feed) state(b *bed, t, loss float64) State {
	wet := b.x
	dry := wet.Dry()
	e := f.exhaustOf(&wet)
	burnt := e.Fractions()
	s := State{
		BedExit: t - gas.ZeroC, Wet: wet, Dry: dry, Exhaust: burnt,
		HeatDry: dry.HeatingValue(), HeatWet: wet.HeatingValue(),
		YieldWet: b.gas * gas.Volume, YieldDry: b.gas * (1 - wet[gas.H2O]) * gas.Volume,
		AirNeedDry: dry.AirNeed(gas.AirOxygen), AirNeedWet: wet.AirNeed(f.air[gas.O2]),
		LHV: f.lhv, Loss: loss,
		Blast: b.blast * gas.Volume, Air: b.blast * (1 - f.r) * gas.Volume,
		ExhaustTotal: b.gas * e.Sum() * gas.Volume,
	}
	s.MixtureDry, s.MixtureWet = s.HeatDry/(1+s.AirNeedDry), s.HeatWet/(1+s.AirNeedWet)
	s.ColdGasEfficiency = s.HeatWet * s.YieldWet / f.lhv
	blast, hBlast := f.blast(&burnt), f.blastHeat(b.spent)
	s.Residual = f.residual(&s, &blast, hBlast)
	s.Oxidation = f.fire(&blast, hBlast)
	s.OxidationFuel = f.flame(&blast, hBlast)
	return s
}

// residual is the largest error of the balances of C, H, O, N, Ar and heat,
// from the finished answer, each as a share of what goes in.
func (f *feed) residual(s *State, blast *gas.Mix, hBlast float64) float64 {
	in, out := s.Blast/gas.Volume, s.YieldWet/gas.Volume // mol/kg
	worst := 0.0
	check := func(in, out, scale float64) {
		if scale > 0 {
			worst = max(worst, math.Abs(in-out)/scale)
		}
	}
	w := &s.Wet
	c := f.c + in*blast[gas.CO2]
	check(c, out*(w[gas.CO]+w[gas.CO2]+w[gas.CH4]), c)
	h := f.h + in*2*blast[gas.H2O]
	check(h, out*2*(w[gas.H2]+w[gas.H2O]+2*w[gas.CH4]), h)
	o := f.o + in*(2*blast[gas.O2]+2*blast[gas.CO2]+blast[gas.H2O])
	check(o, out*(w[gas.CO]+2*w[gas.CO2]+w[gas.H2O]), o)
	check(in*blast[gas.N2], out*w[gas.N2], in*blast[gas.N2])
	check(in*blast[gas.Ar], out*w[gas.Ar], in*blast[gas.Ar])
	energy := f.heat + in*hBlast - s.Loss*f.lhv
	check(energy, out*w.Enthalpy(s.BedExit+gas.ZeroC), f.lhv)
	return worst
}
