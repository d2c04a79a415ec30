package browser

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// keys presses keys where the focus is.
func (r *rig) keys(text string) {
	r.t.Helper()
	r.do(chromedp.KeyEvent(text))
}

// TestMainJobsByKeyboard: without a pointer, by the tabulator, the enter key and typing alone.
func TestMainJobsByKeyboard(t *testing.T) {
	t.Parallel()
	t.Run("grower", func(t *testing.T) {
		t.Parallel()
		r := open(t, phone)
		r.as("grower:alder-brook")
		r.tabTo(likely)
		r.do(chromedp.KeyEvent("a", chromedp.KeyModifiers(2)))
		r.keys("74.5")
		r.tabTo(`.push > .actions button`)
		r.keys(kb.Enter)
		r.do(shown(".done"))
		if e := r.pushed(); e.GetLikelyGrams() != 74_500 {
			t.Errorf("pushed %v", e)
		}
	})
	t.Run("yard manager", func(t *testing.T) {
		t.Parallel()
		r := open(t, desk)
		r.as("yard_manager:quarry-end")
		r.goTo("/lots/quarry-end-26-41")
		r.tabTo(`form[action$="/release"] button`)
		r.keys(kb.Enter)
		r.do(chromedp.WaitNotPresent(chromedp.CSS(`form[action$="/release"]`)))
		if got := r.coop.Reports[0].GetLot().GetState(); got != compostlotv1.LotState_LOT_STATE_RELEASED {
			t.Errorf("the lot is %v", got)
		}
	})
	t.Run("kitchen", func(t *testing.T) {
		t.Parallel()
		r := open(t, phone)
		r.as("buyer:copper-pan")
		r.tabTo("#d-2026-11-26 summary")
		r.keys(kb.Enter)
		r.tabTo(`#d-2026-11-26 input[name="packs.oyster-1kg"]`)
		r.do(chromedp.KeyEvent("a", chromedp.KeyModifiers(2)))
		r.keys("15" + kb.Enter)
		r.do(shown(".done"))
		if got := r.coop.Orders[1].GetLines()[0].GetPacks(); got != 15 {
			t.Errorf("%d packs are ordered", got)
		}
	})
	t.Run("operator", func(t *testing.T) {
		t.Parallel()
		r := open(t, desk)
		r.as("operator")
		r.tabTo(`form[action="/health/retry"] button`)
		r.keys(kb.Enter)
		r.do(shown(".done"))
	})
}
