/* dispatch/raw.h - addresses of port-9100 printers. Private to dispatch. */
#ifndef DISPATCH_RAW_H
#define DISPATCH_RAW_H

#include <stdbool.h>

/* Splits "socket://host" or "socket://host:port"; the port is 9100 where none is given. */
bool wp_raw_uri(const char *uri, char host[256], char port[8]);

#endif
