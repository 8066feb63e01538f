package survey

import "context"

func ReadIPP(context.Context, IPPTarget, ReadOptions) IPPResult { return IPPResult{} }
