/* The ways around, line by line as survey/propagation/around/ states them: its modules section, search, string, unfold, windows
   and plane have a C file each, with the same names in the same order. Constants are held to those of Python by a test. */

#ifndef SURVEY_AROUND_H
#define SURVEY_AROUND_H

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "kernel.h"

#define PI 3.14159265358979323846

/* section.py */
#define JOINT_M 0.0203
#define END_M 1e-3
#define TOUCH_M 1e-6
/* search.py */
#define MAX_STRINGS 8
#define ROOM_STRINGS 16
#define SAME_DB 1e-6
#define MAX_STEPS 100
#define MAX_CORNERS 6
#define MARGIN_DB 10.0
#define MAX_LOSS_DB 75.0
#define LEAST_TURN 1e-9
#define BENT_DB 6.0
#define STEEPER 2.0
#define BACK_DB 6.0
/* string.py */
#define SAME_NU 1e-6
#define FULL_NU -1.8
#define LEAST_NU -2.4
#define FACING 0.35
#define OPAQUE_DB 20.0
#define STEEP 0.5
#define FLUSH_NU 0.78
#define SHUT_M 0.02
#define OPEN_M 0.10
#define SHORT_M 0.052
#define FREE_M 0.14
/* unfold.py */
#define MAX_BOUNCES 2
#define NARROW_M 0.1003
#define PARALLEL 0.2
/* windows.py */
#define MAX_STATIONS 10
#define MAX_GROWTH 4.0
#define STRAIGHT_GROWTH 2.0
#define MAX_IMAGES 3
#define MAX_PHASE 60.0
#define CLOSEST 0.3
/* plane.py */
#define LEAST_POWER 1e-9
/* cut.py */
#define BESIDE_NU -0.78
#define SAME_M 1e-6
#define INSIDE_M 1e-3
#define CLEAR_M 3e-6
#define NEAREST 0.02
#define LEVEL_M 0.1003
#define FAR_M 50.0
#define SHUT_DB 40.0
/* __init__.py */
#define MIN_POWER 1e-10
#define FREE 0.97
/* bodies.py */
#define DEEP_M -60.0
/* rule.py */
#define FULL_DB 6.0
#define NONE_DB 12.4
#define OTHER_DB 30.0
#define ROUGH_DB 6.0
#define NOTHING 1e-12
#define MAX_OPEN_NU 3.3
/* mirrors.py */
#define ON_MIRROR_M 1e-3
#define NEARER_M 1e-6
#define OWN_WAY_NU 1.4142135623730951
#define LEAST_SHARE 0.02
#define TURNED_DB 6.0
#define MAX_STRAIGHT 3
#define MAX_TURNED 2
/* quadrature.py */
#define NODES 24
#define SPAN_NODES 40

#define ROOM_STATIONS (MAX_CORNERS + 2 * MAX_BOUNCES + MAX_STATIONS) /* at most, of any string */

typedef struct { double re, im; } complex_t;
typedef struct { double x, y; } place_t;
typedef struct { double hard, soft; } powers_t;

typedef struct {
    double x1, y1, x2, y2, loss_db, beside_db, nx, ny;
    int solid, sheet;
    const double *table; /* loss by cosine, NULL for none */
    int table_count;
    double dx, dy, size_m; /* direction and length, from `join` */
} Segment;

typedef struct {
    double dx, dy;
    int segment;
} Arm;

typedef struct {
    double x, y, loss_db, outer; /* the angle outside in half turns, see outer_angle; negative until asked for */
    const Arm *arms;
    int first_arm, arm_count;
    bool flat;
} Corner;

/* A place where segments end, and its group of those that hang together, told by one of them, which also has its extent. */
typedef struct {
    double x, y, low_x, low_y, high_x, high_y;
    int group, corner;
    bool shared; /* whether others are of its group */
} Joint;

#define BLOCK 16 /* segments that are looked at together */

/* Segments of the cut of a plane with their corners. */
typedef struct {
    Segment *segments;
    int (*ends)[2];
    double *x1, *y1, *x2, *y2, *least_db; /* the same places side by side, and what passing costs at least, in whole BLOCKs */
    int padded;
    uint8_t *near; /* which may meet a place */
    int count, room, ends_room, places_room, near_room;
    Joint *joints;
    int joint_count, joint_room;
    Corner *corners;
    int corner_count, corner_room;
    Arm *arms;
    int arm_count, arm_room;
} Section;

/* Which segments belong to something: those of a corner's arms, or a single one. */
typedef struct {
    const Arm *arms;
    int count, single;
} Members;

/* A string, or the beginning of one, as its last leg and what it continues. */
typedef struct {
    double bound_db, length_m, through_db;
    double bent_db, most_bent_db; /* what corners on one side lose in a row: the last of them, and the most */
    bool tested;                  /* whether what the last leg meets is known */
    bool left;                    /* whether the last corner but this one is turned at to the left */
    int before, corner, corner_count, all_beside; /* -1 for nothing before; corner -1 is the end of the line */
    int first_passed, passed_count;   /* segments that this leg passes */
    int first_beside, beside_count;   /* solids that it passes beside the plane */
} Step;

typedef struct {
    double bound_db, length_m, through_db;
    int corners[MAX_CORNERS], corner_count, step, passed_count, beside_count;
} Path;

/* A segment that a leg goes through, or a corner of it; side +1 where the segment's other end is to the left. */
typedef struct {
    int segment, corner, side;
    double loss_db;
} Hit;

typedef struct {
    double loss_db;
    int passed_count, beside_count; /* put into the pools of Scratch past what is there already */
} Met;

typedef struct {
    double at_m, off_m, turn, gain, nu, rank; /* rank: nu but for rounding */
    int corner;
    bool left;
    Members segments;
    place_t tangent, from, to; /* ends of the leg that it lies beside */
    double image[2];
} Edge;

/* What a detour of so many wavelengths loses at least, J, in steps of 1/32 octave from LEAST_OCTAVE on: read by the bits of a float. */
#define LEAST_OCTAVE -24
#define OCTAVES 40

/* Room for what is worked out on the way, used again for each string, plane and line. */
typedef struct {
    Step *steps;
    int step_count, step_room;
    int *open;
    int open_count, open_room;
    int *passed; /* segments */
    int passed_count, passed_room;
    int *beside_solids;
    int beside_count, beside_solids_room;
    Hit *hits, *corner_hits;
    int hit_room, corner_hit_room;
    int *useful;                                          /* corners that a string can turn at */
    double *useful_x, *useful_y, *useful_rest, *useful_size, *useful_over; /* where they are, how far from the end and from here, see measure */
    int useful_count, useful_room, places_room, steps_done;
    double last_db; /* the bound of the last of the steps that count */
    uint8_t *may_hit;
    int may_hit_room;
    Edge *beside;
    int beside_room;
    Path found[ROOM_STRINGS];
    bool has_least;
    float least_edge_db[32 * OCTAVES];
} Scratch;

typedef struct {
    double at_m, low_m, high_m, turn, gain;
    double image[2], image_turn[2]; /* in the faces at its left edge, and at its right one */
} Station;

typedef struct { double left, right; } Face;

/* Strings of a line whose integral is known: rounds of the search find most of them again. */
#define MAX_KNOWN 64
typedef struct {
    Station stations[ROOM_STATIONS];
    Face faces[ROOM_STATIONS];
    int count;
    double length_m, wavelength_m;
    complex_t hard, soft;
} Known;

/* What integrals need: points and weights, and those of the line that are known. */
typedef struct {
    const double *points, *weights, *span_points, *span_weights;
    Known known[MAX_KNOWN];
    int known_count, oldest;
} Integrals;

/* What arrives along one string. */
typedef struct {
    const Path *path;
    complex_t hard, soft;
    powers_t more; /* what bounces between walls on the way, of no known phase */
    place_t leave, arrive;
    bool left;
} Arrival;

/* What stands on a site: see bodies.py. */
typedef struct {
    const double *corner_m, *normal, *offset_m, *loss_db, *table_db, *centre_m, *radius_m, *plant_xy_m, *plant_base_m, *plant_top_m,
        *plant_db_per_m, *plant_most_db;
    const int32_t *first, *table, *obstacle, *solid, *solid_first, *touch_first, *touch, *plant_first;
    const uint8_t *mirror;
    int sheets, solids, table_steps, plants;
} Bodies;

typedef struct {
    double start_m[3], along[3], up[3], left[3], length_m;
} Line;

/* The mirror of an unfolded line, whose start is the image of a real place; all that is real is on its positive side. */
typedef struct {
    int sheet;
    double normal[3], offset_m;
} Image;

/* The opening that a mirror is to its unfolded line, in the upright plane and in the level one. */
typedef struct {
    place_t low[2], high[2]; /* ends of its cut */
    double leaves[2];        /* what it leaves of the line in each plane, amplitude */
} Window;

/* A sphere around a solid, or around its image in a mirror, seen from a line. */
typedef struct {
    int number;
    double along_m, off_m, radius_m;
} Sphere;

/* A solid in the axes of a line; its corners, along, up and left, lie in Workspace, in the order of Bodies. Images in a mirror are
   numbered from the number of all solids on. */
typedef struct {
    int solid, clip, first_corner; /* clip 1: only what lies before a mirror; -1: images behind it; 0: no mirror */
    double low[3], high[3], nu[4];
    bool holds_end; /* whether an end of the line stands in it */
} Local;

typedef struct {
    Arrival found[ROOM_STRINGS], less[ROOM_STRINGS];
    const Arrival *around[ROOM_STRINGS + 1], *mixed[ROOM_STRINGS], *straight;
    Arrival cleared;
    int around_count, mixed_count;
    double least_db; /* what the best of all these loses; infinite where there is none */
} Plane;

typedef struct { double over, left, right, straight; } Power;
enum { OVER, LEFT, RIGHT, REFLECTED, WAYS };

/* Obstacles that a way passes, rising, and how often, by power. */
typedef struct {
    int obstacle;
    double power;
} Passed;
typedef struct {
    Passed *items;
    int count, room;
} Passes;

/* All that is needed for one line after another. */
typedef struct {
    Section sections[3]; /* of the upright and the level plane, whose strings are wanted later; and for single legs */
    Scratch scratch[3];
    Local *places;
    int place_count, place_room;
    double *corners;
    int corner_room;
    Sphere *spheres;
    int sphere_count, sphere_room;
    uint8_t *chosen; /* which spheres' solids are among the places */
    uint8_t *used;   /* which places are meant */
    uint8_t *crossed; /* which solids the line goes through */
    int chosen_room, used_room, crossed_room;
    Passes passes, own; /* of a way, or of all mirrors together; and of one of them */
    int *through; /* sheets that the line goes through */
    int through_count, through_room;
    double *chords;
    int chord_room;
    Plane planes[2];
} Workspace;

/* What the rule finds for a line; index 0 for a vertical field and 1 for a horizontal one. */
typedef struct {
    Power powers[2];
    double through_db;
    bool clear;
    int nearest;
} Found;

/* What comes by way of one mirror, with a vertical and with a horizontal field, relative to the free line. */
typedef struct {
    int sheet;
    double powers[2], at_m[3];
} Mirrored;

/* section.c */
bool make_room(void *items, int *room, int wanted, size_t size);
bool join(Section *section);
bool met_by_leg(const Section *section, Scratch *scratch, place_t from, place_t to, int from_corner, int to_corner, double most_db,
                int step, Met *met);

double along_face_loss_db(const Section *section, int one, int other, bool closed_left);

/* search.c */
double edge_loss_db(double nu);
bool search(const Section *section, Scratch *scratch, double length_m);
int next_string(const Section *section, Scratch *scratch, double length_m, double wavelength_m, double most_db, Path *path);

/* string.c */
double smooth(double share);
double ripple(double nu);
double wedge_gain(double turn_rad, double outer);
double outer_angle(Section *section, int corner);
bool holds(Members one, int segment);
bool share_one(Members one, Members other);
Members members_of(const Section *section, int corner);
void image_at(Section *section, int corner, place_t before, place_t beyond, double turn_rad, double image[2]);
int edges_along(Section *section, Scratch *scratch, const Path *path, const place_t *points, int point_count, double wavelength_m,
                Edge *edges, double *factor);
int stations_of(Section *section, const Edge *edges, int edge_count, double total_m, double wavelength_m, Station *stations, Face *faces);

/* unfold.c */
powers_t unfolded_powers(Section *section, Integrals *integrals, const Path *path, double length_m, double wavelength_m);

/* windows.c */
double obliquity(double slant);
void field(Integrals *integrals, const Station *stations, const Face *faces, int count, double length_m, double wavelength_m,
           complex_t *hard, complex_t *soft);

/* plane.c */
int arrivals(Section *section, Scratch *scratch, Integrals *integrals, double length_m, double wavelength_m, double most_db,
             Arrival *found);
Arrival scaled(const Arrival *one, double amplitude);
Arrival weaker(const Arrival *one, double amplitude);
powers_t joined_power(const Arrival *const *ways, int count);

/* passes.c */
double mean_power(const Arrival *one);
int strings_of(const Workspace *work, int way, const Arrival **strings);
bool add_passed(Passes *passes, int obstacle, double power);
bool add_passes(const Bodies *bodies, const Workspace *work, int way, double power, Passes *passes);

/* cut.c */
void mirror_place(const Image *image, double *at_m);
Line line_of(const double *start_m, const double *end_m);
bool add_local(const Bodies *bodies, Workspace *work, int number, const Line *line, double wavelength_m, const Image *image);
bool section_of(const Bodies *bodies, Workspace *work, Section *section, const uint8_t *used, const Line *line, bool upright, bool pass_beside,
                const Image *image, const Window *window);

/* rule.c */
int line_powers(const Bodies *bodies, Workspace *work, Integrals *integrals, const Line *line, double wavelength_m, const Image *image,
                const Window *window, double worth_db, Found *found);
double opening(Integrals *integrals, double low, double high);

/* plants.c */
double plants_loss_db(const Bodies *bodies, Workspace *work, const double *points, int count, const Image *image);

/* mirrors.c */
int mirror_ways(const Bodies *bodies, Workspace *work, Integrals *integrals, const double *start_m, const double *end_m,
                double wavelength_m, double whole, Mirrored *found);

static inline double power_of(complex_t amplitude) { return amplitude.re * amplitude.re + amplitude.im * amplitude.im; }

static inline place_t corner_place(const Section *section, int corner)
{
    place_t at = {section->corners[corner].x, section->corners[corner].y};
    return at;
}

static inline double apart(place_t one, place_t other)
{
    double dx = other.x - one.x, dy = other.y - one.y;
    return sqrt(dx * dx + dy * dy);
}

#endif
