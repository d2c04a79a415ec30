package server

import (
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
)

// Policy says which role may call which RPC. Whose things a buyer or a grower may see and change
// is asked by the handlers: those of the own kitchen, and of the own farm, only.
func Policy() rpc.Policy {
	const coordinator, operator, grower, buyer = identity.Coordinator, identity.Operator, identity.Grower, identity.Buyer
	office := []identity.Role{coordinator, operator}
	return rpc.Policy{
		orderv1.OrderService_SaveCustomer_FullMethodName:            office,
		orderv1.OrderService_BatchSaveCustomers_FullMethodName:      office,
		orderv1.OrderService_ListCustomers_FullMethodName:           {coordinator, operator, buyer},
		orderv1.OrderService_SaveProduct_FullMethodName:             office,
		orderv1.OrderService_BatchSaveProducts_FullMethodName:       office,
		orderv1.OrderService_ListProducts_FullMethodName:            identity.Roles(),
		orderv1.OrderService_PlaceOrder_FullMethodName:              {coordinator, operator, buyer},
		orderv1.OrderService_BatchPlaceOrders_FullMethodName:        {coordinator, operator, buyer},
		orderv1.OrderService_ChangeOrder_FullMethodName:             {coordinator, operator, buyer},
		orderv1.OrderService_CancelOrder_FullMethodName:             {coordinator, operator, buyer},
		orderv1.OrderService_ListOrders_FullMethodName:              {coordinator, operator, buyer},
		orderv1.OrderService_SaveStandingOrder_FullMethodName:       {coordinator, operator, buyer},
		orderv1.OrderService_BatchSaveStandingOrders_FullMethodName: {coordinator, operator, buyer},
		orderv1.OrderService_EndStandingOrder_FullMethodName:        {coordinator, operator, buyer},
		orderv1.OrderService_ListStandingOrders_FullMethodName:      {coordinator, operator, buyer},
		orderv1.OrderService_ExpandStandingOrders_FullMethodName:    {coordinator, operator, buyer},
		orderv1.OrderService_ListStandingDays_FullMethodName:        {coordinator, operator, buyer},
		orderv1.OrderService_SaveOrderingSettings_FullMethodName:    office,
		orderv1.OrderService_GetOrderingSettings_FullMethodName:     {coordinator, operator, buyer},
		orderv1.OrderService_GetCutoff_FullMethodName:               {coordinator, operator, buyer},
		orderv1.OrderService_GetDayOutlook_FullMethodName:           {coordinator, operator, buyer},
		orderv1.OrderService_RunMatch_FullMethodName:                {coordinator},
		orderv1.OrderService_GetMatch_FullMethodName:                office,
		orderv1.OrderService_ConfirmMatch_FullMethodName:            {coordinator},
		orderv1.OrderService_Rebalance_FullMethodName:               {coordinator},
		orderv1.OrderService_ExplainLine_FullMethodName:             {coordinator, operator, buyer},
		orderv1.OrderService_PinAllocation_FullMethodName:           {coordinator},
		orderv1.OrderService_RemovePin_FullMethodName:               {coordinator},
		orderv1.OrderService_ListPins_FullMethodName:                office,
		orderv1.OrderService_SaveMatchSettings_FullMethodName:       office,
		orderv1.OrderService_GetMatchSettings_FullMethodName:        {coordinator, operator, grower},
		orderv1.OrderService_GetSeason_FullMethodName:               {coordinator, operator, grower},
		orderv1.OrderService_GetPackList_FullMethodName:             {coordinator, operator, grower},
		orderv1.OrderService_Dispatch_FullMethodName:                {coordinator, grower},
		orderv1.OrderService_ConfirmDelivery_FullMethodName:         {coordinator, buyer},
		orderv1.OrderService_ListDeliveries_FullMethodName:          {coordinator, operator, grower, buyer},
		orderv1.OrderService_ListSpawnNeeds_FullMethodName:          {coordinator, operator, grower},
		orderv1.OrderService_TraceBack_FullMethodName:               {coordinator, operator, grower, buyer},
		orderv1.OrderService_TraceForward_FullMethodName:            office,
	}
}

// ownFarm refuses a grower the things of another farm.
func ownFarm(id identity.Identity, farm string) error {
	if id.Role != identity.Grower || id.FarmID == farm {
		return nil
	}
	return fault.New(fault.Forbidden, "OTHER_FARM", "that belongs to farm %q; a grower of farm %q sees and sends only the own farm's packs", farm, id.FarmID)
}

// ownCustomer refuses a buyer the things of another kitchen.
func ownCustomer(id identity.Identity, customer string) error {
	if id.Role != identity.Buyer || id.CustomerID == customer {
		return nil
	}
	return fault.New(fault.Forbidden, "OTHER_CUSTOMER", "that belongs to customer %q; a buyer of %q sees and changes only the own orders", customer, id.CustomerID)
}
