#!/usr/bin/env python3
"""Draws the photos of price boards in ../photos beside their labels: a clean print, a leaning one in bad light, chalk.

pip install pillow && python3 photos.py
"""
import os
import random

from PIL import Image, ImageDraw, ImageFilter, ImageFont

HERE = os.path.dirname(os.path.abspath(__file__))
OUT = os.path.join(HERE, "..", "photos")
FONT = "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf"
ROWS = [("Bare bright", "4.15"), ("#1 copper", "3.93"), ("#2 copper", "3.57"), ("Yellow brass", "2.31"), ("Clean extrusion", "0.94"), ("Soft lead", "0.56"), ("Hard drives", "0.82"), ("Motherboards", "2.60")]


def board(ink, ground, size=44):
    page = Image.new("L", (1200, 900), ground)
    draw = ImageDraw.Draw(page)
    font = ImageFont.truetype(FONT, size)
    draw.text((80, 50), "PRICES PER LB", fill=ink, font=font)
    for at, (name, price) in enumerate(ROWS):
        draw.text((80, 150 + at * 85), name, fill=ink, font=font)
        draw.text((850, 150 + at * 85), "$" + price, fill=ink, font=font)
    return page


def noise(page, seed, amount):
    rng = random.Random(seed)
    pixels = page.load()
    for y in range(page.height):
        for x in range(page.width):
            pixels[x, y] = max(0, min(255, pixels[x, y] + rng.randint(-amount, amount)))
    return page


def save(name, page):
    os.makedirs(OUT, exist_ok=True)
    page.convert("RGB").save(os.path.join(OUT, name), quality=70)
    with open(os.path.join(OUT, name + ".labels"), "w") as out:
        out.write("default USD/lb\n" + "".join(f"{name} | {price} | ?\n" for name, price in ROWS))


save("print.jpg", board(20, 240))
leaning = board(50, 205).rotate(4, expand=True, fillcolor=190, resample=Image.BICUBIC)
shade = Image.linear_gradient("L").resize(leaning.size).point(lambda v: 110 + v * 145 // 255)
leaning = Image.composite(leaning, Image.new("L", leaning.size, 0), shade)
save("leaning-shaded.jpg", noise(leaning.filter(ImageFilter.GaussianBlur(1)), 7, 14))
save("chalk.jpg", noise(board(205, 48).filter(ImageFilter.GaussianBlur(0.8)), 3, 30))
save("small.jpg", board(30, 235).resize((520, 390), Image.LANCZOS))
