// Package genealogy owns where mushrooms come from: from a pick lot to the crop
// that bore it, on to the lots of compost under that crop, and forward again.
// What is found out about compost, a hold or a release by exception, follows
// every pick lot of every crop that stands on it.
//
// The family tree is never stored. It follows from three facts that others
// tell: the crops with their dates, the deliveries of compost, and the state of
// each compost lot. They arrive in any order and are corrected later, so the
// tree is drawn anew from what is known; the same facts give the same tree.
//
// Where facts leave a choice, the rules here include rather than leave out: a
// recall that asks about one lot too many costs a telephone call.
//
// The suite gives evidence. Whether a lot is held, freed or recalled is a named
// person's decision under the local food safety rules.
package genealogy
