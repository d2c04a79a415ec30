package words

// MassThousandths turns grams into thousandths of the shown unit of mass, for drawing.
func (l *Language) MassThousandths(grams int64) int64 { return l.thousandths(grams) }
