"use strict";
// validatorUrl null: nothing of this station is sent to a checker on the internet.
SwaggerUIBundle({
  url: "/openapi.json",
  dom_id: "#api",
  validatorUrl: null,
  deepLinking: true,
  presets: [SwaggerUIBundle.presets.apis],
});
