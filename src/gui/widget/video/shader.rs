//! The picture through the graphics card: three textures in the stream's own colours.
//!
//! An RGBA image of two MiB and more would be uploaded in another thread and draw nothing until
//! then, which at playing speed is always; a texture of our own is written when the picture
//! changes and drawn at once.

use std::sync::Arc;

use iced::wgpu;
use iced::widget::shader::{self, Viewport};
use iced::{Rectangle, mouse};

use super::{Place, Sight};
use crate::media::Picture;
use crate::media::picture::{Looks, Range, Turn};

/// Draws one picture over the whole of its bounds.
#[derive(Debug, Clone)]
pub(super) struct Program {
    pub(super) picture: Arc<Picture>,
    pub(super) sight: Sight,
    pub(super) on: Place,
}

impl<Message> shader::Program<Message> for Program {
    type State = ();
    type Primitive = Primitive;

    fn draw(&self, (): &(), _cursor: mouse::Cursor, _bounds: Rectangle) -> Primitive {
        Primitive { picture: Arc::clone(&self.picture), sight: self.sight, on: self.on }
    }
}

/// A picture to be drawn.
#[derive(Debug)]
pub(super) struct Primitive {
    picture: Arc<Picture>,
    sight: Sight,
    on: Place,
}

/// What stays on the graphics card between pictures.
pub(super) struct Pipeline {
    render: wgpu::RenderPipeline,
    layout: wgpu::BindGroupLayout,
    sampler: wgpu::Sampler,
    main: Option<Planes>,
    beside: Option<Planes>,
}

/// One picture on the card.
struct Planes {
    uniforms: wgpu::Buffer,
    size: (u32, u32),
    textures: [wgpu::Texture; 3],
    group: wgpu::BindGroup,
    /// The picture that was written last: pictures are never changed, so its address tells it
    /// apart while it is held here.
    shown: Arc<Picture>,
}

impl shader::Pipeline for Pipeline {
    fn new(device: &wgpu::Device, _queue: &wgpu::Queue, format: wgpu::TextureFormat) -> Self {
        let module = device.create_shader_module(wgpu::ShaderModuleDescriptor {
            label: Some("picture"),
            source: wgpu::ShaderSource::Wgsl(include_str!("yuv.wgsl").into()),
        });
        let texture = |binding| wgpu::BindGroupLayoutEntry {
            binding,
            visibility: wgpu::ShaderStages::FRAGMENT,
            ty: wgpu::BindingType::Texture {
                sample_type: wgpu::TextureSampleType::Float { filterable: true },
                view_dimension: wgpu::TextureViewDimension::D2,
                multisampled: false,
            },
            count: None,
        };
        let layout = device.create_bind_group_layout(&wgpu::BindGroupLayoutDescriptor {
            label: Some("picture"),
            entries: &[
                texture(0),
                texture(1),
                texture(2),
                wgpu::BindGroupLayoutEntry {
                    binding: 3,
                    visibility: wgpu::ShaderStages::FRAGMENT,
                    ty: wgpu::BindingType::Sampler(wgpu::SamplerBindingType::Filtering),
                    count: None,
                },
                wgpu::BindGroupLayoutEntry {
                    binding: 4,
                    visibility: wgpu::ShaderStages::FRAGMENT,
                    ty: wgpu::BindingType::Buffer {
                        ty: wgpu::BufferBindingType::Uniform,
                        has_dynamic_offset: false,
                        min_binding_size: None,
                    },
                    count: None,
                },
            ],
        });
        let pipeline_layout = device.create_pipeline_layout(&wgpu::PipelineLayoutDescriptor {
            label: Some("picture"),
            bind_group_layouts: &[&layout],
            push_constant_ranges: &[],
        });
        let render = device.create_render_pipeline(&wgpu::RenderPipelineDescriptor {
            label: Some("picture"),
            layout: Some(&pipeline_layout),
            vertex: wgpu::VertexState {
                module: &module,
                entry_point: Some("corner"),
                compilation_options: wgpu::PipelineCompilationOptions::default(),
                buffers: &[],
            },
            primitive: wgpu::PrimitiveState::default(),
            depth_stencil: None,
            multisample: wgpu::MultisampleState::default(),
            fragment: Some(wgpu::FragmentState {
                module: &module,
                entry_point: Some(if format.is_srgb() { "linear_colour" } else { "colour" }),
                compilation_options: wgpu::PipelineCompilationOptions::default(),
                targets: &[Some(wgpu::ColorTargetState {
                    format,
                    blend: None,
                    write_mask: wgpu::ColorWrites::ALL,
                })],
            }),
            multiview: None,
            cache: None,
        });
        let sampler = device.create_sampler(&wgpu::SamplerDescriptor {
            label: Some("picture"),
            mag_filter: wgpu::FilterMode::Linear,
            min_filter: wgpu::FilterMode::Linear,
            ..wgpu::SamplerDescriptor::default()
        });
        Self { render, layout, sampler, main: None, beside: None }
    }
}

impl shader::Primitive for Primitive {
    type Pipeline = Pipeline;

    fn prepare(
        &self,
        pipeline: &mut Pipeline,
        device: &wgpu::Device,
        queue: &wgpu::Queue,
        _bounds: &Rectangle,
        _viewport: &Viewport,
    ) {
        let size = (self.picture.width.get(), self.picture.height.get());
        let known = match self.on {
            Place::Main => pipeline.main.take(),
            Place::Beside => pipeline.beside.take(),
        };
        let (mut planes, is_new) = match known.filter(|planes| planes.size == size) {
            Some(planes) => {
                let is_new = !Arc::ptr_eq(&planes.shown, &self.picture);
                (planes, is_new)
            }
            None => (make_planes(pipeline, device, size, &self.picture), true),
        };
        if is_new {
            let half = (size.0.div_ceil(2), size.1.div_ceil(2));
            let samples = [&self.picture.luma, &self.picture.blue, &self.picture.red];
            for ((texture, samples), (width, height)) in
                planes.textures.iter().zip(samples).zip([size, half, half])
            {
                queue.write_texture(
                    texture.as_image_copy(),
                    samples,
                    wgpu::TexelCopyBufferLayout {
                        offset: 0,
                        bytes_per_row: Some(width),
                        rows_per_image: Some(height),
                    },
                    wgpu::Extent3d { width, height, depth_or_array_layers: 1 },
                );
            }
            planes.shown = Arc::clone(&self.picture);
        }
        let numbers = uniforms(self.picture.looks, self.sight);
        let bytes: Vec<u8> = numbers.iter().flat_map(|number| number.to_ne_bytes()).collect();
        queue.write_buffer(&planes.uniforms, 0, &bytes);
        match self.on {
            Place::Main => pipeline.main = Some(planes),
            Place::Beside => pipeline.beside = Some(planes),
        }
    }

    fn draw(&self, pipeline: &Pipeline, pass: &mut wgpu::RenderPass<'_>) -> bool {
        let planes = match self.on {
            Place::Main => &pipeline.main,
            Place::Beside => &pipeline.beside,
        };
        if let Some(planes) = planes {
            pass.set_pipeline(&pipeline.render);
            pass.set_bind_group(0, &planes.group, &[]);
            pass.draw(0..3, 0..1);
        }
        true
    }
}

fn make_planes(
    pipeline: &Pipeline,
    device: &wgpu::Device,
    size: (u32, u32),
    picture: &Arc<Picture>,
) -> Planes {
    let half = (size.0.div_ceil(2), size.1.div_ceil(2));
    let textures = [size, half, half].map(|(width, height)| {
        device.create_texture(&wgpu::TextureDescriptor {
            label: Some("picture"),
            size: wgpu::Extent3d { width, height, depth_or_array_layers: 1 },
            mip_level_count: 1,
            sample_count: 1,
            dimension: wgpu::TextureDimension::D2,
            format: wgpu::TextureFormat::R8Unorm,
            usage: wgpu::TextureUsages::TEXTURE_BINDING | wgpu::TextureUsages::COPY_DST,
            view_formats: &[],
        })
    });
    let uniforms = device.create_buffer(&wgpu::BufferDescriptor {
        label: Some("picture"),
        size: 96,
        usage: wgpu::BufferUsages::UNIFORM | wgpu::BufferUsages::COPY_DST,
        mapped_at_creation: false,
    });
    let views =
        textures.each_ref().map(|texture| texture.create_view(&wgpu::TextureViewDescriptor::default()));
    let [luma, blue, red] = &views;
    let group = device.create_bind_group(&wgpu::BindGroupDescriptor {
        label: Some("picture"),
        layout: &pipeline.layout,
        entries: &[
            wgpu::BindGroupEntry { binding: 0, resource: wgpu::BindingResource::TextureView(luma) },
            wgpu::BindGroupEntry { binding: 1, resource: wgpu::BindingResource::TextureView(blue) },
            wgpu::BindGroupEntry { binding: 2, resource: wgpu::BindingResource::TextureView(red) },
            wgpu::BindGroupEntry { binding: 3, resource: wgpu::BindingResource::Sampler(&pipeline.sampler) },
            wgpu::BindGroupEntry { binding: 4, resource: uniforms.as_entire_binding() },
        ],
    });
    Planes { uniforms, size, textures, group, shown: Arc::clone(picture) }
}

/// The shader's numbers, in its order.
#[allow(clippy::cast_possible_truncation)] // Colour weights for the graphics card.
fn uniforms(looks: Looks, sight: Sight) -> [f32; 24] {
    let (kr, kb) = looks.matrix.weights();
    let kg = 1.0 - kr - kb;
    let (offset, luma, chroma) = match looks.range {
        Range::Limited => (16.0 / 255.0, 255.0 / 219.0, 255.0 / 224.0),
        Range::Full => (0.0, 1.0, 1.0),
    };
    let half = 128.0 / 255.0;
    let row = |u: f64, v: f64| {
        let (u, v) = (u * chroma, v * chroma);
        [luma, u, v, -offset * luma - half * (u + v)].map(|number| number as f32)
    };
    let red = row(0.0, 2.0 * (1.0 - kr));
    let green = row(-2.0 * (1.0 - kb) * kb / kg, -2.0 * (1.0 - kr) * kr / kg);
    let blue = row(2.0 * (1.0 - kb), 0.0);
    // Where the shown upper left corner, the way right and the way down lie in the stored picture.
    let (mut corner, mut across, mut down) = match looks.turn {
        Turn::None => ([0.0, 0.0], [1.0, 0.0], [0.0, 1.0]),
        Turn::Half => ([1.0, 1.0], [-1.0, 0.0], [0.0, -1.0]),
        Turn::Quarter => ([0.0, 1.0], [0.0, -1.0], [1.0, 0.0]),
        Turn::ThreeQuarters => ([1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]),
    };
    if looks.mirrored {
        let [corner_x, _] = &mut corner;
        *corner_x = 1.0 - *corner_x;
        for [x, _] in [&mut across, &mut down] {
            *x = -*x;
        }
    }
    // Of the shown picture only a part may be in view.
    let part = sight.part();
    let (x, y, share) = (part.x as f32, part.y as f32, part.share as f32);
    corner = [corner[0] + x * across[0] + y * down[0], corner[1] + x * across[1] + y * down[1]];
    across = across.map(|way| way * share);
    down = down.map(|way| way * share);
    let mut numbers = [0.0; 24];
    let parts = red
        .into_iter()
        .chain(green)
        .chain(blue)
        .chain(corner)
        .chain([0.0, 0.0])
        .chain(across)
        .chain(down)
        .chain([1.0 / sight.gamma.max(0.1), sight.contrast]);
    for (number, part) in numbers.iter_mut().zip(parts) {
        *number = part;
    }
    numbers
}
