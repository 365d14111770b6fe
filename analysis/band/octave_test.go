package band

import (
	"math"
	"testing"
)

// Section 6.3 of the levels reference: IEC 61260-1 base-10 frequencies and
// IEC 61672-1 weightings at the exact middle; the weightings rounded to 0.1
// are the printed values of the standard.
var table = []struct{ nominal, mid, low, high, aPrinted, a, cPrinted, c float64 }{
	{20, 19.9526, 17.7828, 22.3872, -50.5, -50.452, -6.2, -6.240},
	{25, 25.1189, 22.3872, 28.1838, -44.7, -44.703, -4.4, -4.405},
	{31.5, 31.6228, 28.1838, 35.4813, -39.4, -39.440, -3.0, -3.010},
	{40, 39.8107, 35.4813, 44.6684, -34.6, -34.630, -2.0, -1.999},
	{50, 50.1187, 44.6684, 56.2341, -30.2, -30.228, -1.3, -1.294},
	{63, 63.0957, 56.2341, 70.7946, -26.2, -26.194, -0.8, -0.818},
	{80, 79.4328, 70.7946, 89.1251, -22.5, -22.504, -0.5, -0.504},
	{100, 100.000, 89.1251, 112.202, -19.1, -19.143, -0.3, -0.300},
	{125, 125.893, 112.202, 141.254, -16.1, -16.098, -0.2, -0.169},
	{160, 158.489, 141.254, 177.828, -13.4, -13.350, -0.1, -0.085},
	{200, 199.526, 177.828, 223.872, -10.9, -10.870, 0.0, -0.033},
	{250, 251.189, 223.872, 281.838, -8.6, -8.630, 0.0, 0.000},
	{315, 316.228, 281.838, 354.813, -6.6, -6.611, 0.0, 0.019},
	{400, 398.107, 354.813, 446.684, -4.8, -4.808, 0.0, 0.029},
	{500, 501.187, 446.684, 562.341, -3.2, -3.233, 0.0, 0.033},
	{630, 630.957, 562.341, 707.946, -1.9, -1.900, 0.0, 0.029},
	{800, 794.328, 707.946, 891.251, -0.8, -0.824, 0.0, 0.019},
	{1000, 1000.00, 891.251, 1122.02, 0.0, 0.000, 0.0, 0.000},
	{1250, 1258.93, 1122.02, 1412.54, 0.6, 0.591, 0.0, -0.033},
	{1600, 1584.89, 1412.54, 1778.28, 1.0, 0.981, -0.1, -0.085},
	{2000, 1995.26, 1778.28, 2238.72, 1.2, 1.200, -0.2, -0.169},
	{2500, 2511.89, 2238.72, 2818.38, 1.3, 1.271, -0.3, -0.300},
	{3150, 3162.28, 2818.38, 3548.13, 1.2, 1.199, -0.5, -0.504},
	{4000, 3981.07, 3548.13, 4466.84, 1.0, 0.970, -0.8, -0.818},
	{5000, 5011.87, 4466.84, 5623.41, 0.5, 0.549, -1.3, -1.294},
	{6300, 6309.57, 5623.41, 7079.46, -0.1, -0.121, -2.0, -1.999},
	{8000, 7943.28, 7079.46, 8912.51, -1.1, -1.111, -3.0, -3.010},
	{10000, 10000.0, 8912.51, 11220.2, -2.5, -2.492, -4.4, -4.405},
	{12500, 12589.3, 11220.2, 14125.4, -4.3, -4.318, -6.2, -6.240},
	{16000, 15848.9, 14125.4, 17782.8, -6.6, -6.603, -8.5, -8.531},
	{20000, 19952.6, 17782.8, 22387.2, -9.3, -9.317, -11.2, -11.249},
}

func TestTableOfTheStandard(t *testing.T) {
	if len(table) != LastX-FirstX+1 {
		t.Fatal("the table has another length")
	}
	near := func(what string, got, want, tolerance float64) {
		t.Helper()
		if !(math.Abs(got-want) <= tolerance) {
			t.Errorf("%s = %g, want %g", what, got, want)
		}
	}
	for i, r := range table {
		x := FirstX + i
		low, high := Edges(x)
		if NominalHz(x) != r.nominal {
			t.Errorf("x = %d is called %g, want %g", x, NominalHz(x), r.nominal)
		}
		near("middle", MidHz(x), r.mid, r.mid*5e-6)
		near("lower edge", low, r.low, r.low*5e-6)
		near("upper edge", high, r.high, r.high*5e-6)
		near("A", AWeightDB(MidHz(x)), r.a, 0.0006)
		near("C", CWeightDB(MidHz(x)), r.c, 0.0006)
		near("A as printed", AWeightDB(MidHz(x)), r.aPrinted, 0.0501)
		near("C as printed", CWeightDB(MidHz(x)), r.cPrinted, 0.0501)
	}
	near("row 52: A at 1 kHz", AWeightDB(1000), 0, 0.005)
	near("row 52: A at 100 Hz", AWeightDB(100), -19.143, 0.005)
	near("row 52: A at 10 kHz", AWeightDB(10000), -2.492, 0.005)
	near("row 53: C at 31.5 Hz", CWeightDB(MidHz(-15)), -3.010, 0.005)
	near("row 53: C at 8 kHz", CWeightDB(MidHz(9)), -3.010, 0.005)
	low, high := Edges(6)
	near("row 54: middle", MidHz(6), 3981.0717, 1e-3)
	near("row 54: lower edge", low, 3548.1339, 1e-3)
	near("row 54: upper edge", high, 4466.8359, 1e-3)
	for x := FirstX; x < LastX; x++ {
		_, high := Edges(x)
		if low, _ := Edges(x + 1); low != high {
			t.Errorf("a gap between bands %d and %d", x, x+1)
		}
	}
	if !math.IsInf(AWeightDB(0), -1) || !math.IsInf(CWeightDB(0), -1) {
		t.Error("DC is heard")
	}
}
