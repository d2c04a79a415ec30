// Package intake owns the way of readings that instruments publish over MQTT
// 3.1.1 to a service of the suite: the topics, the payloads, the streams in
// which they wait, and what becomes of one that cannot be used.
//
// A topic names the co-op, the service, the yard or farm whose instrument it
// is, and what was measured; a device's password lets it publish below its own
// yard or farm only:
//
//	readings/<co-op>/compostlot/<yard>/<lot>/<probe>/<kind>
//	readings/<co-op>/harvest/<farm>/<room>/<kind>
//
// A payload is an object {"time": "2026-03-02T06:30:00Z", "value": 58.2}, a
// list of up to 1,000 of them for an instrument that gathers before it sends, or
// a plain number such as 58.2, which counts at the moment at which the bus took
// it. Values are decimals in the unit of their kind, times RFC 3339.
//
// A message of QoS 1 or 2 is acknowledged to the instrument when the bus has it
// on disk, and it stays there until a service has committed it to its database.
// One of QoS 0 is kept as soon as it arrives, without an acknowledgement. A
// message that cannot be used is counted, logged and kept with its reason, and
// nothing behind it waits.
package intake
