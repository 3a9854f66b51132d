package server

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"enbloc/server/fault"
	"enbloc/server/store"
)

// routes builds the router. What stands here stands in openapi.json, and the
// other way round; a test compares the two.
func (s *Server) routes() *gin.Engine {
	gin.SetMode(gin.ReleaseMode)
	e := gin.New()
	e.HandleMethodNotAllowed = true
	e.RedirectTrailingSlash = false
	e.Use(s.identify, s.observe, s.recoverPanic, harden, s.localHost)
	e.NoRoute(func(c *gin.Context) { s.fail(c, fault.New(fault.NotFound, noSuchRoute)) })
	e.NoMethod(func(c *gin.Context) { s.fail(c, refusalMethod) })

	e.GET("/", s.docsPage)
	e.GET("/docs", s.docsPage)
	e.GET("/openapi.json", s.openAPI)
	e.GET("/schemas", s.listSchemas)
	e.GET("/schemas/*name", s.schema)
	e.GET("/views", s.listViews)
	e.GET("/views/:name", s.view)
	e.GET("/fhir/:type", s.listArtefacts)
	e.GET("/fhir/:type/:id", s.artefact)
	e.GET("/health/live", s.live)
	e.GET("/health/ready", s.ready)

	a := e.Group("/", s.authenticate)
	a.GET("/metrics", gin.WrapH(s.metrics.handler))
	a.GET("/rules", s.rules)
	a.POST("/cases", s.limitBody, s.accept(store.Report))
	a.POST("/histology", s.limitBody, s.accept(store.Histology))
	a.POST("/events", s.limitBody, s.accept(store.Events))
	a.GET("/cases", s.listCases)
	a.GET("/cases/:case", s.getCase)
	a.GET("/cases/:case/assessment", s.getAssessment)
	a.GET("/cases/:case/fhir", s.getBundle)
	a.POST("/check", s.limitBody, s.check)
	a.POST("/assess", s.limitBody, s.assess)
	a.POST("/what-if", s.limitBody, s.whatIf)
	a.POST("/map", s.limitBody, s.dryMap)
	a.GET("/indicators", s.indicators)
	a.GET("/parked", s.listParked)
	a.GET("/targets", s.listTargets)
	a.GET("/deliveries", s.listDeliveries)
	a.POST("/deliveries/:delivery/resend", s.resend)
	a.POST("/deliveries/:delivery/skip", s.skip)
	return e
}

const noSuchRoute = "There is nothing under this address. The description of the API is at /openapi.json."

var refusalMethod = &refusal{status: http.StatusMethodNotAllowed, slug: "method-not-allowed", issue: "not-supported",
	detail: "This address exists, but not for this method. The Allow header names those that it has."}
