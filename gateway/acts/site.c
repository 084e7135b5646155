#include "acts/site.h"

struct wp_site wp_site;
