/* The one table of routes, by who uses it; web/route.h says what a row means. */
#include "web/route.h"

#include "acts/bench_acts.h"
#include "acts/removal_acts.h"
#include "acts/setup_acts.h"
#include "acts/timetable_acts.h"
#include "bench_card_page.h"
#include "bench_page.h"
#include "dispatch/dispatch.h"
#include "request.h"
#include "views/bench.h"
#include "views/classes.h"
#include "views/lists.h"
#include "views/timetable.h"

/* clang-format off */
#define S WP_ROLE_STUDENT
#define D WP_ROLE_DEMONSTRATOR
#define I WP_ROLE_INSTRUCTOR
#define M WP_ROLE_MARKER
#define T WP_ROLE_TECHNICIAN
#define A WP_ROLE_ADMINISTRATOR
#define C WP_ROLE_COMMAND
#define BENCH WP_ROLE_BENCH
#define AGENT WP_ROLE_AGENT
#define ANYBODY (S | D | I | M | T | A | C)

#define GET(path_) .method = "GET", .path = (path_)
#define POST(path_) .method = "POST", .path = (path_)
#define PATCH(path_) .method = "PATCH", .path = (path_)
#define DELETE(path_) .method = "DELETE", .path = (path_)
#define V1 "/api/v1"

#define PUBLIC .scope = WP_SCOPE_PUBLIC
#define ANY(roles_) .roles = (roles_), .scope = WP_SCOPE_ANY
#define MEASUREMENT(roles_) .roles = (roles_), .scope = WP_SCOPE_MEASUREMENT
#define SECTION(roles_) .roles = (roles_), .scope = WP_SCOPE_SECTION
#define INSTRUMENT(roles_) .roles = (roles_), .scope = WP_SCOPE_INSTRUMENT
#define PERSON(roles_) .roles = (roles_), .scope = WP_SCOPE_PERSON

#define ACT(fn) .act = (fn), .body = WP_BODY_JSON
#define VIEW(fn) .view = (fn)
#define HANDLER(fn) .custom = (fn)
#define LOADED(load_, fn) .load = (load_), .custom = (fn)
#define JSON .body = WP_BODY_JSON
#define SAYS .summary =

const struct wp_route wp_routes[] = {
    /* pages: files without anybody's data */
    {GET("/"), PUBLIC, HANDLER(wp_serve_page), SAYS "first page"},
    {GET("/:file"), PUBLIC, HANDLER(wp_serve_page), SAYS "a page, style or script"},
    {GET("/bench/:instrument"), INSTRUMENT(BENCH | D | I | T | A), VIEW(wp_view_bench), .page = wp_bench_page, SAYS "the bench as plain forms"},
    {POST("/bench/:instrument"), INSTRUMENT(BENCH | D | I | T | A), ACT(wp_act_identify), .page = wp_bench_card_page, SAYS "whose card this is, by a form"},
    {POST("/bench/enrol"), PUBLIC, ACT(wp_act_bench_enrol), .page = wp_bench_enrolled_page, .flags = WP_ROUTE_COOKIES | WP_ROUTE_EXPIRES, SAYS "a bench device is enrolled by a form"},
    {GET("/assets/:file"), PUBLIC, HANDLER(wp_serve_asset), SAYS "the plot library"},

    /* the gateway itself */
    {GET("/healthz"), PUBLIC, LOADED(wp_load_health, wp_serve_health), SAYS "whether the gateway answers"},
    {GET("/metrics"), ANY(A | C), LOADED(wp_load_metrics, wp_serve_metrics), .flags = WP_ROUTE_LOOPBACK, SAYS "figures for monitoring"},
    {GET(V1 "/events"), ANY(ANYBODY | BENCH), LOADED(wp_load_events, wp_serve_events), SAYS "live events; each topic has its own rule"},

    /* signing in */
    {GET(V1 "/me"), PUBLIC, VIEW(wp_view_me), SAYS "who one is"},
    {GET(V1 "/sign-in"), PUBLIC, HANDLER(wp_serve_sign_in_ways), SAYS "which ways of signing in there are"},
    {GET("/sign-in/provider"), PUBLIC, HANDLER(wp_serve_provider_begin), SAYS "to the site's own sign-in"},
    {GET("/sign-in/provider/back"), PUBLIC, HANDLER(wp_serve_provider_back), SAYS "and back from it"},
    {POST(V1 "/sign-in"), PUBLIC, HANDLER(wp_serve_sign_in), JSON, .flags = WP_ROUTE_COOKIES, SAYS "sign in by password"},
    {POST(V1 "/sign-in/link"), PUBLIC, HANDLER(wp_serve_sign_in_link), JSON, SAYS "ask for a mailed link"},
    {POST(V1 "/sign-in/token"), PUBLIC, ACT(wp_act_link_use), .flags = WP_ROUTE_COOKIES, SAYS "sign in by a mailed link"},
    {POST(V1 "/sign-out"), ANY(ANYBODY), ACT(wp_act_sign_out), .flags = WP_ROUTE_COOKIES, SAYS "sign out"},
    {GET(V1 "/me/sessions"), ANY(ANYBODY), VIEW(wp_view_sessions), SAYS "where one is signed in"},
    {DELETE(V1 "/me/sessions/:key"), ANY(ANYBODY), ACT(wp_act_session_end), .flags = WP_ROUTE_COOKIES, SAYS "sign out in one place"},
    {DELETE(V1 "/me/sessions"), ANY(ANYBODY), ACT(wp_act_sign_out_everywhere), .flags = WP_ROUTE_COOKIES, SAYS "sign out everywhere"},

    /* agents */
    {POST(V1 "/agents/join"), PUBLIC, ACT(wp_act_agent_join), .flags = WP_ROUTE_CREATED | WP_ROUTE_EXPIRES, SAYS "an agent joins by its code"},
    {POST(V1 "/agents/heartbeat"), ANY(AGENT), ACT(wp_act_agent_heartbeat), SAYS "an agent says how it is"},
    {POST(V1 "/agents/events"), ANY(AGENT), ACT(wp_act_agent_events), SAYS "an agent tells of other files and troubles"},
    {POST(V1 "/captures"), ANY(AGENT), LOADED(wp_load_capture, wp_serve_capture), .body = WP_BODY_FILE, SAYS "an agent sends a file"},
    {POST(V1 "/captures/offer"), ANY(AGENT), HANDLER(wp_serve_offer), JSON, .body_most = 512 * 1024, SAYS "an agent asks which files are wanted"},
    {POST(V1 "/instruments/:id/captures"), INSTRUMENT(I | T | A), LOADED(wp_load_brought, wp_serve_brought), .body = WP_BODY_FILE, SAYS "staff bring a file by hand"},

    /* the bench */
    {POST(V1 "/bench/enrol"), PUBLIC, ACT(wp_act_bench_enrol), .flags = WP_ROUTE_COOKIES | WP_ROUTE_EXPIRES, SAYS "a bench device is enrolled by its code"},
    {GET(V1 "/bench/:instrument"), INSTRUMENT(BENCH | D | I | T | A | C), VIEW(wp_view_bench), SAYS "what the bench shows"},
    {POST(V1 "/bench/:instrument/sign-on"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_sign_on), SAYS "a turn begins"},
    {POST(V1 "/bench/:instrument/identify"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_identify), SAYS "whose card, PIN or number this is"},
    {POST(V1 "/bench/:instrument/join"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_join), SAYS "a partner joins the turn"},
    {POST(V1 "/bench/:instrument/still"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_still), SAYS "the same person goes on"},
    {POST(V1 "/bench/:instrument/wait"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_wait), SAYS "stand in the waiting list"},
    {POST(V1 "/bench/:instrument/leave"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_leave_list), SAYS "leave the waiting list"},
    {POST(V1 "/bench/:instrument/keep"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_keep), SAYS "keep a spectrum, and print it"},
    {POST(V1 "/bench/:instrument/again"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_again), SAYS "it will be run again"},
    {POST(V1 "/bench/:instrument/answer"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_answer), SAYS "whose spectrum it is"},
    {POST(V1 "/bench/:instrument/done"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_done), SAYS "a turn ends"},
    {POST(V1 "/bench/:instrument/plates-out"), INSTRUMENT(BENCH | D | I | T | A | C), ACT(wp_act_plates_out), SAYS "a plate is taken out of use"},

    /* cards and PINs */
    {GET(V1 "/me/card"), ANY(S), VIEW(wp_view_card), SAYS "whether one has a bench card and a PIN"},
    {POST(V1 "/me/card"), ANY(S), ACT(wp_act_card), SAYS "make one's bench card, or another one"},
    {GET(V1 "/me/card.pdf"), ANY(S), LOADED(wp_load_own_card, wp_serve_cards), SAYS "one's bench card to print"},
    {GET(V1 "/me/card.png"), ANY(S), LOADED(wp_load_own_card, wp_serve_cards), SAYS "one's bench card for a phone's screen"},
    {POST(V1 "/me/pin"), ANY(S), ACT(wp_act_pin), SAYS "set one's PIN for the bench"},
    {POST(V1 "/sections/:id/cards"), SECTION(I | T | A | C), ACT(wp_act_section_cards), SAYS "make the cards of a section"},
    {GET(V1 "/sections/:id/cards.pdf"), SECTION(I | T | A | C), LOADED(wp_load_section_cards, wp_serve_cards), .flags = WP_ROUTE_EXPORT, SAYS "a section's cards to print"},
    {DELETE(V1 "/people/:id/card"), PERSON(I | T | A | C), ACT(wp_act_card_void), SAYS "a lost card: card and PIN are void"},

    /* one's own measurements */
    {GET(V1 "/me/measurements"), ANY(S), VIEW(wp_view_inbox), SAYS "one's own spectra"},
    {GET(V1 "/measurements/:id"), MEASUREMENT(S | D | I | M | T | A | BENCH | C), VIEW(wp_view_measurement), .flags = WP_ROUTE_LOOK, SAYS "one measurement"},
    {GET(V1 "/measurements/:id/sheet.pdf"), MEASUREMENT(S | D | I | M | T | A | BENCH | C), LOADED(wp_load_document, wp_serve_document), .flags = WP_ROUTE_LOOK, SAYS "the labelled sheet as PDF"},
    {GET(V1 "/measurements/:id/sheet.png"), MEASUREMENT(S | D | I | M | T | A | BENCH | C), LOADED(wp_load_document, wp_serve_document), .flags = WP_ROUTE_LOOK, SAYS "the sheet as a picture"},
    {GET(V1 "/measurements/:id/sheet.svg"), MEASUREMENT(S | D | I | M | T | A | BENCH | C), LOADED(wp_load_document, wp_serve_document), .flags = WP_ROUTE_LOOK, SAYS "the sheet as SVG"},
    {GET(V1 "/measurements/:id/points"), MEASUREMENT(S | D | I | M | T | A | BENCH | C), LOADED(wp_load_document, wp_serve_document), SAYS "the curve for the plot"},
    {GET(V1 "/measurements/:id/file"), MEASUREMENT(S | I | T | A | C), LOADED(wp_load_document, wp_serve_document), .flags = WP_ROUTE_EXPORT, SAYS "the original bytes"},
    {GET(V1 "/measurements/:id/jcamp"), MEASUREMENT(S | I | M | T | A | C), LOADED(wp_load_document, wp_serve_document), .flags = WP_ROUTE_EXPORT, SAYS "the spectrum as JCAMP-DX"},
    {GET(V1 "/measurements/:id/csv"), MEASUREMENT(S | I | M | T | A | C), LOADED(wp_load_document, wp_serve_document), .flags = WP_ROUTE_EXPORT, SAYS "the spectrum as CSV"},
    {GET(V1 "/find"), ANY(ANYBODY), VIEW(wp_view_find), SAYS "a measurement by its accession number"},
    {POST(V1 "/claims"), ANY(S | BENCH), ACT(wp_act_claim), SAYS "claim a spectrum by the code on its sheet"},
    {POST(V1 "/measurements/:id/counts"), MEASUREMENT(S | I | BENCH), ACT(wp_act_counts), SAYS "this one for the report"},
    {POST(V1 "/measurements/:id/print"), MEASUREMENT(S | D | I | T | A | BENCH), ACT(wp_act_print), SAYS "print the sheet"},
    {POST(V1 "/measurements/:id/mail"), MEASUREMENT(S), ACT(wp_act_mail), SAYS "mail the sheet to oneself"},

    /* staff */
    {GET(V1 "/classes"), ANY(D | I | T | A | C), VIEW(wp_view_classes), SAYS "classes about to begin, running, just over: instruments, who has what"},
    {GET(V1 "/sections"), ANY(S | D | I | M | T | A | C), VIEW(wp_view_sections), SAYS "one's sections"},
    {GET(V1 "/sections/:id/grid"), SECTION(D | I | M | T | A | C), VIEW(wp_view_grid), .flags = WP_ROUTE_LOOK, SAYS "students and experiments of a section"},
    {GET(V1 "/sections/:id/roster"), SECTION(I | A | C), VIEW(wp_view_roster), .flags = WP_ROUTE_LOOK, SAYS "who is and was in a section"},
    {GET(V1 "/sections/:id/zip"), SECTION(I | A | C), LOADED(wp_load_section_file, wp_serve_section_zip), .flags = WP_ROUTE_EXPORT, SAYS "a section's files as a ZIP, for marking"},
    {GET(V1 "/sections/:id/booklet.pdf"), SECTION(I | A | C), LOADED(wp_load_section_file, wp_serve_booklet), .flags = WP_ROUTE_EXPORT, SAYS "a section's sheets as one PDF"},
    {GET(V1 "/unclaimed"), ANY(D | I | T | A | C), VIEW(wp_view_unclaimed), SAYS "spectra without a person"},
    {GET(V1 "/notices"), ANY(D | I | T | A | C), VIEW(wp_view_notices), SAYS "what staff should look at"},
    {GET(V1 "/unread"), ANY(I | T | A | C), VIEW(wp_view_unread), SAYS "files that are no spectrum"},
    {GET(V1 "/objects/:sha256/file"), ANY(I | T | A | C), LOADED(wp_load_object, wp_serve_document), .flags = WP_ROUTE_EXPORT, SAYS "any file as it came"},
    {POST(V1 "/measurements/:id/stamp"), MEASUREMENT(D | I | T | A | C), ACT(wp_act_stamp), SAYS "assign or correct, as a revision"},
    {POST(V1 "/measurements/:id/remove"), MEASUREMENT(I | T | A | C), ACT(wp_act_remove_measurement), SAYS "remove a private spectrum for good"},
    {POST(V1 "/objects/:sha256/remove"), ANY(I | T | A | C), ACT(wp_act_remove_object), SAYS "remove a file that is no spectrum for good"},
    {POST(V1 "/turns"), ANY(I | T | A | C), ACT(wp_act_turn_add), SAYS "enter a turn afterwards"},
    {POST(V1 "/notices/:id/settle"), ANY(D | I | T | A | C), ACT(wp_act_notice_settle), SAYS "settle a notice"},

    /* instruments and set-up */
    {GET(V1 "/fleet"), ANY(D | I | T | A | C), VIEW(wp_view_fleet), SAYS "instruments, agents, printers"},
    {GET(V1 "/instruments"), ANY(D | I | T | A | C), VIEW(wp_view_instruments), SAYS "the instruments"},
    {GET(V1 "/people"), ANY(I | T | A | C), VIEW(wp_view_people), SAYS "find persons"},
    {GET(V1 "/courses"), ANY(D | I | T | A | C), VIEW(wp_view_courses), SAYS "courses, sections, experiments, meetings"},
    {GET(V1 "/ledger"), ANY(A | C), VIEW(wp_view_ledger), SAYS "who did what"},
    {POST(V1 "/instruments"), ANY(A | C), ACT(wp_act_instrument_add), .flags = WP_ROUTE_CREATED, SAYS "add an instrument"},
    {PATCH(V1 "/instruments/:id"), INSTRUMENT(T | A | C), ACT(wp_act_instrument_change), SAYS "change an instrument"},
    {GET(V1 "/instruments/:id/picture"), INSTRUMENT(BENCH | D | I | T | A | C), LOADED(wp_load_picture, wp_serve_picture), SAYS "the lab's picture of how to export"},
    {POST(V1 "/instruments/:id/picture"), INSTRUMENT(T | A | C), ACT(wp_act_instrument_picture), .body_most = 768 * 1024, SAYS "set that picture"},
    {POST(V1 "/instruments/:id/join-code"), INSTRUMENT(A | C), ACT(wp_act_join_code), SAYS "a join string for an agent"},
    {POST(V1 "/instruments/:id/bench-code"), INSTRUMENT(T | A | C), ACT(wp_act_bench_code), SAYS "a code that enrols a bench device"},
    {POST(V1 "/instruments/:id/pause"), INSTRUMENT(BENCH | I | T | A | C), ACT(wp_act_instrument_pause), SAYS "not teaching: pause"},
    {GET(V1 "/printers"), ANY(D | I | T | A | C), VIEW(wp_printer_view_list), SAYS "the printers"},
    {POST(V1 "/printers"), ANY(T | A | C), ACT(wp_printer_act_add), .flags = WP_ROUTE_CREATED, SAYS "add a printer"},
    {PATCH(V1 "/printers/:id"), ANY(T | A | C), ACT(wp_printer_act_change), SAYS "change a printer"},
    {POST(V1 "/printers/:id/pause"), ANY(T | A | C), ACT(wp_printer_act_pause), SAYS "send nothing new there"},
    {POST(V1 "/printers/:id/drain"), ANY(T | A | C), ACT(wp_printer_act_drain), SAYS "finish, then pause"},
    {POST(V1 "/printers/:id/resume"), ANY(T | A | C), ACT(wp_printer_act_resume), SAYS "send there again"},
    {POST(V1 "/printers/:id/remove"), ANY(T | A | C), ACT(wp_printer_act_remove), SAYS "remove a printer"},
    {GET(V1 "/deliveries"), ANY(D | I | T | A | C), VIEW(wp_view_deliveries), SAYS "sheets on their way"},
    {GET(V1 "/deliveries/:id"), ANY(D | I | T | A | C), VIEW(wp_delivery_view_one), SAYS "one sheet's way"},
    {POST(V1 "/deliveries/:id/retry"), ANY(S | BENCH | D | I | T | A | C), ACT(wp_delivery_act_retry), SAYS "send a sheet again"},
    {POST(V1 "/deliveries/:id/redirect"), ANY(S | BENCH | D | I | T | A | C), ACT(wp_delivery_act_redirect), SAYS "to another printer"},
    {POST(V1 "/deliveries/:id/cancel"), ANY(S | BENCH | D | I | T | A | C), ACT(wp_delivery_act_cancel), SAYS "do not print"},
    {POST(V1 "/deliveries/:id/answer"), ANY(S | BENCH | D | I | T | A | C), ACT(wp_delivery_act_answer), SAYS "print in another room, or not"},
    {POST(V1 "/deliveries/:id/resolve"), ANY(D | I | T | A | C), ACT(wp_delivery_act_resolve), SAYS "whether an uncertain sheet was printed"},
    {GET(V1 "/me/mail"), ANY(S | D | I), VIEW(wp_mail_view_choice), SAYS "how one's sheets are mailed"},
    {POST(V1 "/me/mail"), ANY(S | D | I), ACT(wp_mail_act_choose), SAYS "choose how sheets are mailed"},
    {POST(V1 "/agents/:id/revoke"), ANY(T | A | C), ACT(wp_act_agent_revoke), SAYS "an agent's token ends"},
    {POST(V1 "/people/:id/erase"), ANY(A | C), ACT(wp_act_erase_person), SAYS "erase a person"},
    {POST(V1 "/people"), ANY(A | C), HANDLER(wp_serve_person_put), JSON, SAYS "add or change a person"},
    {POST(V1 "/courses"), ANY(A | C), ACT(wp_act_course_put), SAYS "add or change a course"},
    {POST(V1 "/sections"), ANY(A | C), ACT(wp_act_section_put), SAYS "add or change a section"},
    {POST(V1 "/experiments"), ANY(A | C), ACT(wp_act_experiment_put), SAYS "add or change an experiment"},
    {GET(V1 "/terms"), ANY(D | I | T | A | C), VIEW(wp_view_terms), SAYS "the terms"},
    {POST(V1 "/terms"), ANY(A | C), ACT(wp_act_term_put), SAYS "add or change a term"},
    {DELETE(V1 "/terms/:id"), ANY(A | C), ACT(wp_act_term_remove), SAYS "remove a term that no section belongs to"},
    {GET(V1 "/timetable"), ANY(D | I | T | A | C), VIEW(wp_view_timetable), SAYS "weekly meetings with their exceptions, and meetings to come"},
    {POST(V1 "/timetable"), ANY(A | C), ACT(wp_act_weekly_add), SAYS "add a weekly meeting"},
    {PATCH(V1 "/timetable/:id"), ANY(A | C), ACT(wp_act_weekly_change), SAYS "change a weekly meeting from now on"},
    {DELETE(V1 "/timetable/:id"), ANY(A | C), ACT(wp_act_weekly_end), SAYS "end a weekly meeting"},
    {POST(V1 "/timetable/exceptions"), ANY(A | C), ACT(wp_act_weekly_except), SAYS "a day left out, or held otherwise"},
    {POST(V1 "/meetings"), ANY(A | C), ACT(wp_act_meeting_add), SAYS "add a single meeting"},
    {DELETE(V1 "/meetings/:id"), ANY(A | C), ACT(wp_act_meeting_remove), SAYS "remove a single meeting to come"},
    {POST(V1 "/enrolments"), ANY(A | C), ACT(wp_act_enrol), SAYS "one person enters, leaves or changes a section"},
    {POST(V1 "/staff"), ANY(A | C), ACT(wp_act_staff_put), SAYS "who staffs a section"},
    {POST(V1 "/roster"), ANY(A | C), ACT(wp_act_roster), .body_most = 4 * 1024 * 1024, SAYS "bring in a roster"},
};
/* clang-format on */
const size_t wp_route_count = sizeof wp_routes / sizeof wp_routes[0];
