/* Prints each message of vxi11.x with fixed contents, as the routines that
 * rpcgen makes and the system's RPC library encode it. */
#include "vxi11.h"
#include <stdio.h>

static void show(const char *name, xdrproc_t encode, void *message) {
	char buffer[4096];
	XDR x;
	xdrmem_create(&x, buffer, sizeof buffer, XDR_ENCODE);
	if (!encode(&x, message)) { printf("%s failed\n", name); return; }
	printf("%s ", name);
	for (u_int i = 0; i < xdr_getpos(&x); i++) printf("%02x", (unsigned char)buffer[i]);
	printf("\n");
}
#define SHOW(type, ...) do { struct type m = { __VA_ARGS__ }; show(#type, (xdrproc_t)xdr_##type, &m); } while (0)

int main(void) {
	SHOW(Device_Error, 15);
	SHOW(Create_LinkParms, -7, 1, 3000, "gpib0,5");
	SHOW(Create_LinkResp, 0, 42, 65535, 1024);
	SHOW(Device_WriteParms, 42, 2000, 1000, 9, { 5, "*RST\n" });
	SHOW(Device_WriteResp, 0, 5);
	SHOW(Device_ReadParms, 42, 1000, 2000, 1000, 128, '\n');
	SHOW(Device_ReadResp, 0, 6, { 3, "1\r\n" });
	SHOW(Device_ReadStbResp, 0, 0xd0);
	SHOW(Device_GenericParms, 42, 1, 1000, 2000);
	SHOW(Device_RemoteFunc, 0x7f000001, 4711, 0x0607B1, 1, DEVICE_UDP);
	SHOW(Device_EnableSrqParms, 42, 1, { 6, "handle" });
	SHOW(Device_LockParms, 42, 1, 1000);
	SHOW(Device_DocmdParms, 42, 1, 2000, 1000, 0x020001, 1, 2, { 2, "\0\1" });
	SHOW(Device_DocmdResp, 8, { 2, "\0\1" });
	SHOW(Device_SrqParms, { 6, "handle" });
	return 0;
}
