/* A VXI-11 instrument on the system's RPC library and the routines that rpcgen
 * makes of vxi11.x: call, reply, record marking, XDR, dispatch and registration
 * with rpcbind are theirs; only what the instrument says is here. */
#include "vxi11.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <netinet/in.h>
#include <rpc/pmap_clnt.h>
#include "svc.c"

enum { END = 4, REQCNT = 1, MOST = 1024, LONGEST = 400000 };
static char in[LONGEST], out[LONGEST];
static size_t in_len, out_len, out_at;
static int remote, triggers;
static u_short abort_port;
static CLIENT *interrupts;
static Device_EnableSrqParms srq;
static char srq_handle[40];

static void answer(const char *text) { out_at = 0; out_len = strlen(text); memcpy(out, text, out_len); }

static void message(void) {
	char text[64];
	in[in_len] = 0;
	out_len = out_at = 0;
	if (strcmp(in, "*IDN?\n") == 0) answer("Example Works (invented),PEER,1,2\n");
	else if (strncmp(in, "ECHO? ", 6) == 0) answer(in + 6);
	else if (strcmp(in, "LONG?\n") == 0) { memset(out, '7', 100000); out[100000] = '\n'; out_len = 100001; }
	else if (strcmp(in, "STATE?\n") == 0) { snprintf(text, sizeof text, "%d,%d\n", remote, triggers); answer(text); }
	else if (strcmp(in, "ASK\n") == 0 && interrupts && srq.enable) {
		Device_SrqParms p = { { srq.handle.handle_len, srq_handle } };
		struct timeval none = { 0, 0 }; /* one-way: no reply is waited for */
		clnt_call(interrupts, device_intr_srq, (xdrproc_t)xdr_Device_SrqParms, (caddr_t)&p, (xdrproc_t)xdr_void, NULL, none);
	}
	in_len = 0;
}

Create_LinkResp *create_link_1_svc(Create_LinkParms *a, struct svc_req *r) {
	static Create_LinkResp resp;
	resp.error = strcmp(a->device, "inst0") ? 3 : 0;
	resp.lid = 7; resp.abortPort = abort_port; resp.maxRecvSize = MOST;
	return &resp;
}
Device_WriteResp *device_write_1_svc(Device_WriteParms *a, struct svc_req *r) {
	static Device_WriteResp resp;
	memset(&resp, 0, sizeof resp);
	if (a->lid != 7) { resp.error = 4; return &resp; }
	if (a->data.data_len > MOST || in_len + a->data.data_len >= LONGEST) { resp.error = 5; return &resp; }
	memcpy(in + in_len, a->data.data_val, a->data.data_len);
	in_len += a->data.data_len;
	resp.size = a->data.data_len;
	if (a->flags & 8) message();
	return &resp;
}
Device_ReadResp *device_read_1_svc(Device_ReadParms *a, struct svc_req *r) {
	static Device_ReadResp resp;
	memset(&resp, 0, sizeof resp);
	if (out_at == out_len) { usleep(a->io_timeout * 1000); resp.error = 15; return &resp; }
	size_t n = out_len - out_at;
	if (n > a->requestSize) { n = a->requestSize; resp.reason |= REQCNT; }
	if (n > 30000) n = 30000; /* a part without a reason */
	resp.data.data_val = out + out_at; resp.data.data_len = n;
	out_at += n;
	if (out_at == out_len) resp.reason |= END;
	return &resp;
}
Device_ReadStbResp *device_readstb_1_svc(Device_GenericParms *a, struct svc_req *r) {
	static Device_ReadStbResp resp;
	resp.stb = 0x80 | (out_at < out_len ? 0x10 : 0);
	return &resp;
}
static Device_Error *code(int error) { static Device_Error resp; resp.error = error; return &resp; }
Device_Error *device_trigger_1_svc(Device_GenericParms *a, struct svc_req *r) { triggers++; return code(0); }
Device_Error *device_clear_1_svc(Device_GenericParms *a, struct svc_req *r) { in_len = out_at = out_len = 0; return code(0); }
Device_Error *device_remote_1_svc(Device_GenericParms *a, struct svc_req *r) { remote = 1; return code(0); }
Device_Error *device_local_1_svc(Device_GenericParms *a, struct svc_req *r) { remote = 0; return code(0); }
Device_Error *device_lock_1_svc(Device_LockParms *a, struct svc_req *r) { return code(11); }
Device_Error *device_unlock_1_svc(Device_Link *a, struct svc_req *r) { return code(12); }
Device_Error *device_enable_srq_1_svc(Device_EnableSrqParms *a, struct svc_req *r) {
	srq = *a;
	memcpy(srq_handle, a->handle.handle_val, a->handle.handle_len);
	return code(0);
}
Device_DocmdResp *device_docmd_1_svc(Device_DocmdParms *a, struct svc_req *r) {
	static Device_DocmdResp resp = { 8 };
	return &resp;
}
Device_Error *destroy_link_1_svc(Device_Link *a, struct svc_req *r) { return code(*a == 7 ? 0 : 4); }
Device_Error *create_intr_chan_1_svc(Device_RemoteFunc *a, struct svc_req *r) {
	struct sockaddr_in to = { .sin_family = AF_INET, .sin_port = htons(a->hostPort), .sin_addr = { htonl(a->hostAddr) } };
	int sock = RPC_ANYSOCK;
	interrupts = clnttcp_create(&to, a->progNum, a->progVers, &sock, 0, 0);
	return code(interrupts ? 0 : 6);
}
Device_Error *destroy_intr_chan_1_svc(void *a, struct svc_req *r) {
	if (interrupts) clnt_destroy(interrupts);
	interrupts = NULL;
	return code(0);
}
Device_Error *device_abort_1_svc(Device_Link *a, struct svc_req *r) { return code(0); }
void *device_intr_srq_1_svc(Device_SrqParms *a, struct svc_req *r) { static char none; return &none; }

int main(void) {
	SVCXPRT *core = svctcp_create(RPC_ANYSOCK, 0, 0), *async = svctcp_create(RPC_ANYSOCK, 0, 0);
	if (!core || !async) { fprintf(stderr, "no socket\n"); return 1; }
	pmap_unset(DEVICE_CORE, DEVICE_CORE_VERSION);
	if (!svc_register(core, DEVICE_CORE, DEVICE_CORE_VERSION, device_core_1, IPPROTO_TCP) ||
	    !svc_register(async, DEVICE_ASYNC, DEVICE_ASYNC_VERSION, device_async_1, 0)) { fprintf(stderr, "not registered\n"); return 1; }
	abort_port = async->xp_port;
	printf("ready\n");
	fflush(stdout);
	svc_run();
	return 1;
}
