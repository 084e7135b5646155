/* handler.h - what libmicrohttpd calls for each request. */
#ifndef HANDLER_H
#define HANDLER_H

#include <microhttpd.h>

enum MHD_Result wp_handle_request(void *listener, struct MHD_Connection *connection,
                                  const char *url, const char *method, const char *version,
                                  const char *data, size_t *size, void **context);
void wp_handle_completed(void *listener, struct MHD_Connection *connection, void **context,
                         enum MHD_RequestTerminationCode code);

#endif
