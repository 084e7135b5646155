/* post/enhanced.h - enhanced status codes (RFC 3463). Private to post. */
#ifndef POST_ENHANCED_H
#define POST_ENHANCED_H

#include <stdbool.h>

struct wp_enhanced {
    int class;
    int subject;
    int detail;
};

/* Finds "5.1.1" standing alone in a text; NULL holds none. */
bool wp_enhanced_find(const char *text, struct wp_enhanced *found);

#endif
