/* The one table of routes. Sorted by who uses it; web/route.h says what a row means. */
#include "web/route.h"

#include "request.h"

#define GET .method = "GET"
#define PUBLIC .scope = WP_SCOPE_PUBLIC

const struct wp_route wp_routes[] = {
    /* pages: files without anybody's data */
    {GET, .path = "/", PUBLIC, .custom = wp_serve_page, .summary = "first page"},
    {GET, .path = "/:file", PUBLIC, .custom = wp_serve_page, .summary = "a page, style or script"},
    {GET, .path = "/assets/:file", PUBLIC, .custom = wp_serve_asset, .summary = "the plot library"},

    /* the gateway itself */
    {GET, .path = "/healthz", PUBLIC, .load = wp_load_health, .custom = wp_serve_health,
     .summary = "whether the gateway answers"},
    {GET, .path = "/metrics", .roles = WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND,
     .scope = WP_SCOPE_ANY, .custom = wp_serve_metrics, .flags = WP_ROUTE_LOOPBACK,
     .summary = "figures for monitoring"},
    {GET, .path = "/api/v1/events",
     .roles = WP_ROLE_STUDENT | WP_ROLE_DEMONSTRATOR | WP_ROLE_INSTRUCTOR | WP_ROLE_MARKER |
              WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_BENCH | WP_ROLE_COMMAND,
     .scope = WP_SCOPE_ANY, .load = wp_load_events, .custom = wp_serve_events,
     .summary = "live events; each topic has its own rule"},
};
const size_t wp_route_count = sizeof wp_routes / sizeof wp_routes[0];
