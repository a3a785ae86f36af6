// Turns the stream's own Y, U and V into what is seen: matrix and range, turn and mirror, gamma.

struct Looks {
    // Columns of the colour matrix, and what is added.
    red: vec4<f32>,
    green: vec4<f32>,
    blue: vec4<f32>,
    // Place in the stored picture = corner + x·across + y·down.
    corner: vec4<f32>,
    axes: vec4<f32>,
    // Gamma for display; contrast.
    display: vec4<f32>,
}

@group(0) @binding(0) var luma: texture_2d<f32>;
@group(0) @binding(1) var blue_difference: texture_2d<f32>;
@group(0) @binding(2) var red_difference: texture_2d<f32>;
@group(0) @binding(3) var samples: sampler;
@group(0) @binding(4) var<uniform> looks: Looks;

struct Corner {
    @builtin(position) position: vec4<f32>,
    @location(0) place: vec2<f32>,
}

@vertex
fn corner(@builtin(vertex_index) number: u32) -> Corner {
    // One triangle that covers the whole viewport.
    let place = vec2<f32>(f32((number << 1u) & 2u), f32(number & 2u));
    var out: Corner;
    out.position = vec4<f32>(place.x * 2.0 - 1.0, 1.0 - place.y * 2.0, 0.0, 1.0);
    out.place = place;
    return out;
}

fn to_linear(value: f32) -> f32 {
    if (value <= 0.04045) {
        return value / 12.92;
    }
    return pow((value + 0.055) / 1.055, 2.4);
}

fn seen(in: Corner) -> vec3<f32> {
    let place = looks.corner.xy + in.place.x * looks.axes.xy + in.place.y * looks.axes.zw;
    let yuv = vec4<f32>(
        textureSample(luma, samples, place).r,
        textureSample(blue_difference, samples, place).r,
        textureSample(red_difference, samples, place).r,
        1.0,
    );
    var rgb = clamp(
        vec3<f32>(dot(looks.red, yuv), dot(looks.green, yuv), dot(looks.blue, yuv)),
        vec3<f32>(0.0),
        vec3<f32>(1.0),
    );
    rgb = clamp((rgb - 0.5) * looks.display.y + 0.5, vec3<f32>(0.0), vec3<f32>(1.0));
    return pow(rgb, vec3<f32>(looks.display.x));
}

// Which of the two is wanted is known before the first picture. A branch on a uniform here makes the
// software Vulkan driver (Mesa 22.3) build this shader anew for each picture, and never free it.
@fragment
fn colour(in: Corner) -> @location(0) vec4<f32> {
    return vec4<f32>(seen(in), 1.0);
}

@fragment
fn linear_colour(in: Corner) -> @location(0) vec4<f32> {
    let rgb = seen(in);
    return vec4<f32>(to_linear(rgb.r), to_linear(rgb.g), to_linear(rgb.b), 1.0);
}
